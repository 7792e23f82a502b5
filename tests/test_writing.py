"""A file is written whole or not at all."""

from __future__ import annotations

import os
import shutil
import stat

import pytest

from flicker import LogError
from flicker.logs.writing import whole_file, write_whole


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
    write_whole(tmp_path / "link.html", "new", known=True)
    assert real.read_text() == "new" and (tmp_path / "link.html").is_symlink()
    assert stat.S_IMODE(real.stat().st_mode) == 0o640


def test_a_device_is_written_through():
    write_whole(os.devnull, "text")


OUTPUTS = [
    ["assess", "{log}", "--report", "{log}"],
    ["assess", "{log}", "--excursions", "{log}"],
    ["soak", "--from", "{log}", "--report", "{log}"],
    ["report", "--case", "{case}", "{log}"],
    ["simulate", "noisy", "{log}"],
    ["assess", "{log}", "--report", "{case}"],
    ["survey", "{folder}", "--out", "{log}"],
]


@pytest.mark.usefixtures("undrawn", "judged_here")
@pytest.mark.parametrize("line", OUTPUTS, ids=" ".join)
def test_no_output_replaces_a_log_or_a_case(tmp_path, capsys, line):
    """A slip of the hand must not cost forty hours of measuring."""
    from flicker.cli import main

    log, case = tmp_path / "a.csv", tmp_path / "job.toml"
    shutil.copy("demo_data/m22_visit_3.csv", log)
    case.write_text('unit = "x"\n')
    before = log.read_bytes(), case.read_bytes()
    assert main([part.format(log=log, case=case, folder=tmp_path) for part in line]) == 2
    assert (log.read_bytes(), case.read_bytes()) == before
    assert capsys.readouterr().err.count("\n") == 1
    assert sorted(os.listdir(tmp_path)) == ["a.csv", "job.toml"]


def test_a_table_of_excursions_replaces_its_own_kind_only(tmp_path):
    """Parquet files begin alike; the names of their columns tell a log from a table of excursions."""
    import pyarrow as pa
    from pyarrow import parquet

    from flicker import LogError, assess
    from flicker.evidence.document.excursion_table import write_excursions

    found = assess("demo_data/m22_visit_3.csv")
    own, log = tmp_path / "own.parquet", tmp_path / "log.parquet"
    parquet.write_table(pa.table({"time [s]": [0.0, 1.0], "left [V]": [0.0, 0.1]}), log)
    before = log.read_bytes()
    with pytest.raises(LogError, match="choose another name"):
        write_excursions(found, log)
    assert log.read_bytes() == before
    assert write_excursions(found, own) == write_excursions(found, own) > 0
