"""A file is written whole or not at all."""

from __future__ import annotations

import os
import stat

import pytest

from flicker import LogError
from flicker.present.writing import whole_file, write_whole


def test_content_arrives_and_nothing_else_is_left(tmp_path):
    assert write_whole(tmp_path / "a.html", "Grüße").read_bytes() == "Grüße".encode()
    assert os.listdir(tmp_path) == ["a.html"]


def test_a_failure_leaves_the_old_file_and_no_draft(tmp_path):
    target = tmp_path / "a.html"
    target.write_text("old")
    with pytest.raises(RuntimeError), whole_file(target) as draft:
        draft.write_text("half")
        raise RuntimeError
    assert target.read_text() == "old" and os.listdir(tmp_path) == ["a.html"]


@pytest.mark.parametrize(
    ("name", "words"),
    [("", "this is a folder"), ("nowhere/a.html", "there is no folder nowhere"), ("x" * 300, "cannot be written")],
)
def test_one_sentence_where_it_cannot_be_written(tmp_path, name, words):
    with pytest.raises(LogError, match=words) as caught:
        write_whole(tmp_path / name, "text", what="report")
    assert "\n" not in str(caught.value)


def test_a_link_is_followed_and_rights_are_kept(tmp_path):
    real = tmp_path / "real.html"
    real.write_text("old")
    real.chmod(0o640)
    (tmp_path / "link.html").symlink_to(real)
    write_whole(tmp_path / "link.html", "new")
    assert real.read_text() == "new" and (tmp_path / "link.html").is_symlink()
    assert stat.S_IMODE(real.stat().st_mode) == 0o640


def test_a_device_is_written_through():
    write_whole(os.devnull, "text")
