"""The script of a page's charts is packed once for a user and kept; what is kept is never trusted blindly."""

import pytest
import vl_convert

from flicker.present.report.packed import chart_script


@pytest.fixture
def packed(monkeypatch, tmp_path):
    """A cache folder of its own, and how often the script was packed (the script itself is invented)."""
    calls = []
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    monkeypatch.setattr(vl_convert, "javascript_bundle", lambda: calls.append(1) or "draw('</script><!--');\r\n")

    def script():
        chart_script.cache_clear()  # as in a new process
        return chart_script(), len(calls)

    yield script
    chart_script.cache_clear()


def test_the_second_process_takes_what_the_first_kept(packed):
    expected = "draw('<\\/script><\\!--');\n"
    assert packed() == (expected, 1)
    assert packed() == (expected, 1)


@pytest.mark.parametrize("spoil", [lambda text: text[:-3], lambda text: text.replace("draw", "take"), lambda text: ""])
def test_what_was_changed_is_packed_anew(packed, tmp_path, spoil):
    first, _ = packed()
    (kept,) = (tmp_path / "flicker").iterdir()
    kept.write_text(spoil(kept.read_text()))
    assert packed() == (first, 2)
    assert packed() == (first, 2)


def test_a_page_needs_no_place_to_keep_it(packed, tmp_path):
    (tmp_path / "flicker").write_text("a file where the folder would be")
    assert packed()[1] == 1
    assert packed()[1] == 2
