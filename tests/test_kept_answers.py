"""A second look with the same words is answered by what the first said, and only while all that went into it is as it was."""

import contextlib
import io

import pytest
from command import flicker

from flicker import simulate_log
from flicker.cli import main

LIMITS = "[limits]\nnoise_V = 0.004\n"  # invented


@pytest.fixture
def bench(tmp_path):
    """An invented log, and `assess` of it with what was kept; whether it was judged anew stands beside its document."""
    log = simulate_log("steady", seed=1, hours=1 / 6).write(tmp_path / "log.csv")[0]

    def asked(*words):
        done = flicker("assess", log, "--json", "--cache", tmp_path / "kept", *words)
        assert done.returncode == 0, done.stderr
        return done.stdout

    return tmp_path, log, asked


@pytest.fixture
def judged(monkeypatch):
    """How often a log was judged."""
    import flicker.evidence.assessment as room

    calls, assess = [], room.assess
    monkeypatch.setattr(room, "assess", lambda *given, **told: calls.append(1) or assess(*given, **told))
    return calls


def test_the_same_question_is_answered_from_what_was_kept(bench, judged):
    _, log, asked = bench
    first = asked()
    assert asked() == first == flicker("assess", log, "--json").stdout
    assert len(judged) == 2  # the first look, and the one that keeps nothing


def test_another_question_is_judged(bench, judged):
    folder, _, asked = bench
    (folder / "limits.toml").write_text(LIMITS)
    first = asked()
    assert asked("--limits", folder / "limits.toml") != first
    assert asked("--excursions-listed", "3") == first  # its document happens to be the same
    assert len(judged) == 3


def test_whatever_goes_in_is_looked_at(bench, judged, monkeypatch):
    folder, log, asked = bench
    first = asked()
    (folder / "log.marks.csv").write_text("time,kind,text\n300,touched,leads\n")
    marked = asked()
    assert marked != first and len(judged) == 2
    log.write_text(log.read_text().rsplit("\n", 2)[0] + "\n")  # a row less
    assert asked() not in (first, marked) and len(judged) == 3
    monkeypatch.setattr("importlib.metadata.version", lambda library: "another")
    asked()
    assert len(judged) == 4


def test_an_answer_changed_by_hand_is_not_believed(bench, judged):
    folder, _, asked = bench
    first = asked()
    (kept,) = (folder / "kept").glob("*.answer.json")
    kept.write_text(kept.read_text().replace("within limits", "beyond limits").replace("not yet shown", "within limits"))
    assert asked() == first and len(judged) == 2


class Terminal(io.StringIO):
    """Standard output that is a terminal."""

    encoding = "utf-8"

    def isatty(self):
        return True


def test_a_printed_page_is_kept_for_the_paper_that_it_was_printed_on(bench, judged, monkeypatch):
    folder, log, asked = bench
    words = ("assess", str(log), "--cache", str(folder / "kept"))
    first = flicker(*words).stdout
    assert flicker(*words).stdout == first == flicker("assess", log).stdout and len(judged) == 2
    assert flicker(*words, encoding="ascii").stdout != first and len(judged) == 3  # other letters
    asked()
    assert len(judged) == 4  # the document is another answer

    def seen(columns):
        monkeypatch.setenv("COLUMNS", columns)
        with contextlib.redirect_stdout(Terminal()) as out:
            assert main(list(words)) == 0
        return out.getvalue()

    monkeypatch.setenv("TERM", "xterm-256color")
    wide, narrow = seen("100"), seen("60")
    assert len(judged) == 6 and "\x1b[" in wide and max(map(len, narrow.splitlines())) < max(map(len, wide.splitlines()))
    assert seen("60") == narrow and len(judged) == 6
    assert seen("100") == wide and len(judged) == 7  # one page is kept, the last
    log.write_text(log.read_text().rsplit("\n", 2)[0] + "\n")  # a row less
    assert flicker(*words).stdout != first and len(judged) == 8
