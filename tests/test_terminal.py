"""Pages on the terminal and in a pipe: the answer first, nothing torn, nothing odd. All logs are invented."""

from __future__ import annotations

import contextlib
import io
import os
import re
import sys
import threading
from pathlib import Path

import pytest
from command import flicker
from rich.console import Console

from flicker import assess, over_visits
from flicker.cli import main
from flicker.present.terminal import show_assessment
from flicker.present.terminal.paper import NARROW, plain
from flicker.present.terminal.visits import show_visits

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "tests" / "tools"))
import refresh_readme  # noqa: E402

DEMO = [str(ROOT / "demo_data" / f"a45_1_as_received_{k}.csv") for k in (1, 2, 3)]


@pytest.fixture
def piped(monkeypatch):
    """Standard output of the command as another program gets it."""
    monkeypatch.setenv("COLUMNS", "80")

    def run(*words, encoding="utf-8"):
        done = flicker(*words, encoding=encoding)
        assert done.returncode == 0, done.stderr
        return done.stdout

    return run


@pytest.fixture(scope="module")
def found():
    return assess(DEMO)


@pytest.fixture(scope="module")
def over_time():
    return over_visits([(None, [path]) for path in DEMO])


def shown(show, result, width):
    out = io.StringIO()
    show(result, Console(file=out, width=width, highlight=False, color_system=None))
    return out.getvalue()


def test_the_readme_quotes_the_whole_first_page():
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    assert refresh_readme.refreshed(readme) == readme, "run python tests/tools/refresh_readme.py"


def test_a_pipe_gets_whole_sentences_without_trailing_blanks(found, piped):
    text = piped("assess", *DEMO)
    lines = text.split("\n")
    assert not [line for line in lines if line != line.rstrip()] and "\x1b" not in text
    for item in found.channels:
        assert f" {item.reads}" in lines, "a sentence is torn"
    text = piped("visits", "--case", str(ROOT / "demo_data" / "m22_case.toml"))
    assert not [line for line in text.split("\n") if line != line.rstrip()]


def test_the_answer_comes_first_and_volts_come_first(found):
    lines = shown(show_assessment, found, 80).split("\n")
    assert lines[2] == "May a loudspeaker be connected?"
    assert "not yet shown to be safe: swings up to 389 mV" in lines[3].replace("  ", " ")
    loud = shown(show_assessment, assess(ROOT / "demo_data" / "relay.csv"), 80)
    first = next(line for line in loud.split("\n") if line.startswith(" left"))
    # demo_data/README.md: 5 to 6 V were put in at the end.
    assert first.split(None, 1)[1].startswith("no: up to 5.8")


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "cp1252"])
def test_another_encoding_gets_plain_characters_to_the_end(encoding, piped):
    text = piped("assess", *DEMO, encoding=encoding)
    assert "?" not in text.replace("connected?", "") and "licensed practice" in text
    assert "|" in text and "─" not in text


def test_plain_characters_keep_what_is_known():
    assert plain("─│┃ µ ü", "ascii") == "-|# u ?" and plain("ü ─", "latin-1") == "ü -" and plain("─", "utf-8") == "─"


@pytest.mark.parametrize("width", [60, NARROW - 1, 80, 120])
def test_nothing_is_wider_than_the_terminal_and_nothing_is_lost(found, over_time, width):
    for show, result in ((show_assessment, found), (show_visits, over_time)):
        text = shown(show, result, width)
        assert max(map(len, text.split("\n"))) <= width
        said = " ".join(text.split())
        for item in result.channels:
            assert " ".join(item.reads.split()) in said
        assert "…" not in text  # nothing is cut off


def test_the_strip_has_an_axis_and_a_legend_and_uses_the_width(found):
    wide, narrow = (shown(show_assessment, found, width) for width in (120, 80))
    lengths = [
        max(len(line) for line in text.split("\n") if "─" in line and "strip:" not in line) for text in (wide, narrow)
    ]
    assert lengths[0] > 1.3 * lengths[1]
    assert "2 hours" in narrow.split("│")[-1] or "2 hours" in narrow
    assert narrow.count("strip: \\ start") == 1


def test_soak_help_says_first_that_nothing_starts_and_shows_its_usage(piped):
    text = piped("soak", "--help")
    assert text.startswith("plans a soak; starts nothing") and "usage: flicker soak (--count N --hours H" in text


def seen_on_a_terminal(*words):
    """What a command writes to standard error, which is a terminal."""
    pty = pytest.importorskip("pty")
    lead, follow = pty.openpty()
    seen = bytearray()

    def look():
        with contextlib.suppress(OSError):  # Linux tells so that the other side is closed
            while part := os.read(lead, 65536):
                seen.extend(part)

    eye = threading.Thread(target=look)
    eye.start()
    with open(follow, "w", encoding="utf-8") as stderr, contextlib.redirect_stderr(stderr), contextlib.redirect_stdout(io.StringIO()):
        code = main([str(word) for word in words])
    eye.join()
    os.close(lead)
    assert code == 0
    return seen.decode("utf-8")


def test_a_terminal_sees_a_bar_with_the_time_left_and_a_pipe_sees_none(tmp_path, monkeypatch):
    for name, value in (("TERM", "xterm-256color"), ("COLUMNS", "80")):
        monkeypatch.setenv(name, value)
    long = tmp_path / "long.csv"
    simulated = seen_on_a_terminal("simulate", "steady", long, "--hours", "8", "--rate", "20")
    assessed = seen_on_a_terminal("assess", long, "--report", tmp_path / "page.html")
    short = ("simulate", "steady", tmp_path / "short.csv", "--hours", "1"), ("assess", tmp_path / "short.csv", "--report", tmp_path / "page.html")
    assert [flicker(*words).stderr for words in short] == ["", ""]
    assert "simulating" in simulated and "writing" in simulated
    for words in ("reading", "judging long.csv", "drawing the page", " left"):
        assert words in assessed, words
    assert re.search(r"[0-9]:[0-9]{2}:[0-9]{2}", assessed) and "\u2501" in assessed


def test_a_soak_of_a_fault_is_one_plan_and_that_of_a_rate_another():
    # As on the page: of a fault that was seen the hours that show it gone, of a rate the hours that exclude it.
    from flicker import plan_soak
    from flicker.present.terminal.soak import show_soak

    seen = shown(show_soak, plan_soak(count=6, hours=5.0), 100)
    assert "to show it gone" in seen and "to exclude" not in seen
    asked = shown(show_soak, plan_soak(max_rate_per_h=1.0), 100)
    assert "to exclude" in asked and "to show it gone" not in asked


def test_weighing_and_drawing_tell_how_far_they_are(found, tmp_path):
    from flicker import assess
    from flicker.base.progress import heard_by
    from flicker.present.report import write_report

    steps: list[tuple[str, list[float]]] = [("", [])]
    with heard_by(lambda share: steps[-1][1].append(share)):
        assess(DEMO, progress=lambda words: steps.append((words, [])))
        steps.append(("drawing", []))
        page = write_report(found, tmp_path / "page.html")
    told = dict(steps)
    charts = page.read_text(encoding="utf-8").count('<figure')
    for words, least in (("weighing the evidence", 3 + len(found.channels)), ("drawing", charts)):
        shares = told[words]
        assert shares == sorted(shares) and shares[-1] == 1.0 and len(shares) >= least > 3, words
