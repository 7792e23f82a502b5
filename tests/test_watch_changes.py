"""A log that changes while it grows: no danger missed or told of another output; what cannot be read is told at once.

The watch command runs on a clock of its own: each time it would sleep, the logger writes on. All logs are invented; after
every change the left output swings by 310 mV and then stands at 40 V.
"""

from __future__ import annotations

import contextlib
import io
import json
import math
import os
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

import flicker.commands.watch as command
from flicker import read_log
from flicker.cli import main
from flicker.evidence.watch.watcher import Watcher
from flicker.logs.growing import Fresh, GrowingLog
from flicker.logs.model import LogError

HEAD = b"Timestamp,Left [mV],Right [mV]\n"
PIECES = HEAD.replace(b",", b";")
START = datetime(2031, 3, 14, 12)
CHANGE, SWING, STANDS, END = 100, 200, 260, 300
Step = bytes | Callable[[Path], None]


def rows(
    lo: int,
    hi: int,
    *,
    unit: float = 1.0,
    order: tuple[int, ...] = (0, 1),
    separator: str = ",",
    decimal: str = ".",
    form: str = "%Y-%m-%d %H:%M:%S",
    shift_s: float = 0.0,
    swing: int = SWING,
) -> list[bytes]:
    """Lines of one reading a second: two outputs at 4 and -2 mV, the left one with its danger."""
    out = []
    for k in range(lo, hi):
        left, right = 4.0 + 0.3 * math.sin(12.9898 * k), -2.0 + 0.3 * math.sin(78.233 * k)
        left = 310.0 if swing <= k < swing + 5 else 40_000.0 if STANDS <= k < STANDS + 20 else left
        cells = [f"{volts * unit:.{2 if unit == 1 else 5}f}".replace(".", decimal) for volts in (left, right)]
        stamp = (START + timedelta(seconds=k + shift_s)).strftime(form)
        out.append((separator.join([stamp, *(cells[place] for place in order)]) + "\n").encode())
    return out


BEFORE = HEAD + b"".join(rows(0, CHANGE))


def blank(lines: list[bytes], cell: int, word: bytes) -> list[bytes]:
    """The same lines with one cell replaced."""
    cut = [line.rstrip(b"\n").split(b",") for line in lines]
    return [b",".join(word if k == cell else old for k, old in enumerate(cells)) + b"\n" for cells in cut]


def written_anew(content: bytes) -> Callable[[Path], None]:
    return lambda path: path.write_bytes(content) and None


def replaced(content: bytes) -> Callable[[Path], None]:
    def step(path: Path) -> None:
        new = path.with_suffix(".new")
        new.write_bytes(content)
        os.replace(new, path)

    return step


@dataclass
class Watched:
    """What a watch told, and how many of the logger's steps were done when it told it."""

    code: int = 0
    told: list[dict] = field(default_factory=list)
    steps: list[int] = field(default_factory=list)
    summary: dict = field(default_factory=dict)
    err: str = ""

    def alarms(self, kind: str) -> list[dict]:
        return [event for event in self.told if event["event"] == "alarm" and event["kind"] == kind]

    def at(self, kind: str) -> int:
        """Steps done at the first alarm of a kind."""
        return next(done for done, event in zip(self.steps, self.told, strict=True) if event["kind"] == kind)

    @property
    def episodes(self) -> dict[str, int]:
        return {item["channel"]: item["episodes"] for item in self.summary["channels"]}


def watch(monkeypatch, path: Path, first: bytes, steps: list[Step], *options: str) -> Watched:
    """Run the command; the logger does one step each time the command sleeps."""
    path.write_bytes(first)
    found = Watched()
    waiting = list(steps)

    class Clock:
        now = 0.0

        def monotonic(self) -> float:
            return self.now

        def sleep(self, seconds: float) -> None:
            self.now += seconds
            if waiting:
                step = waiting.pop(0)
                if callable(step):
                    step(path)
                else:
                    with path.open("ab") as file:
                        file.write(step)

    tell = command.Lines.event

    def listen(lines, event):
        found.told.append(event.to_dict())
        found.steps.append(len(steps) - len(waiting))
        tell(lines, event)

    monkeypatch.setattr(command, "time", Clock())
    monkeypatch.setattr(command.Lines, "event", listen)
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        found.code = main(["watch", str(path), "--json", "--until", "stopped", "--idle", "8", *options])
    found.summary = json.loads(out.getvalue().splitlines()[-1])
    found.err = err.getvalue()
    return found


# ---------------------------------------------------------------- what can be followed

AFTER = rows(CHANGE, END)
CHANGES: dict[str, tuple[bytes, list[Step]]] = {
    "unit": (BEFORE, [b"Timestamp,Left [V],Right [V]\n", *rows(CHANGE, END, unit=1e-3)]),
    "unit of one": (
        BEFORE,
        [
            b"Timestamp,Left [V],Right [mV]\n",
            *(
                b",".join((volts.split(b",")[0], volts.split(b",")[1], line.split(b",")[2]))
                for volts, line in zip(rows(CHANGE, END, unit=1e-3), AFTER, strict=True)
            ),
        ],
    ),
    "order": (BEFORE, [b"Timestamp,Right [mV],Left [mV]\n", *rows(CHANGE, END, order=(1, 0))]),
    "order and unit": (BEFORE, [b"Timestamp,Right [V],Left [V]\n", *rows(CHANGE, END, order=(1, 0), unit=1e-3)]),
    "row of units": (
        b"Timestamp;Left;Right\n;mV;mV\n" + b"".join(rows(0, CHANGE, separator=";")),
        [b"Timestamp;Left;Right\n;V;V\n", *rows(CHANGE, END, separator=";", unit=1e-3)],
    ),
    "unit above": (
        b"# Unit: mV\nTimestamp,Left,Right\n" + b"".join(rows(0, CHANGE)),
        [b"# Unit: V\nTimestamp,Left,Right\n", *rows(CHANGE, END, unit=1e-3)],
    ),
    "heading as a comment": (b"#" + BEFORE, [b"#Timestamp,Left [V],Right [V]\n", *rows(CHANGE, END, unit=1e-3)]),
    "a column less": (BEFORE, [b"Timestamp,Left [mV]\n", *rows(CHANGE, END, order=(0,))]),
    "decimal commas": (
        PIECES + b"".join(rows(0, CHANGE, separator=";")),
        rows(CHANGE, END, separator=";", decimal=","),
    ),
    "decimal points": (
        PIECES + b"".join(rows(0, CHANGE, separator=";", decimal=",")),
        rows(CHANGE, END, separator=";"),
    ),
    "form of dates": (BEFORE, rows(CHANGE, END, form="%d.%m.%Y %H:%M:%S")),
    "winter time": (BEFORE, rows(CHANGE, END, shift_s=-3600)),
    "clock back by minutes": (BEFORE, rows(CHANGE, END, shift_s=-300)),
    "clock forward": (BEFORE, rows(CHANGE, END, shift_s=3600)),
    "heading again": (BEFORE, [HEAD, *AFTER]),
    "NUL bytes": (BEFORE, [bytes(512), b"\n", *AFTER]),
    "NUL bytes beyond a block": (BEFORE, [bytes(3 << 20) + b"\n", *AFTER]),
    "rows twice": (BEFORE, [*AFTER[:110], b"".join(AFTER[90:110]), *AFTER[110:]]),  # a buffer with the swing in it
    "a remark": (BEFORE, [b"restarted by hand\n", *AFTER]),
    "written anew": (BEFORE, [written_anew(HEAD + b"".join(rows(0, k))) for k in range(CHANGE, END + 1, 5)]),
    "replaced by itself": (BEFORE, [replaced(HEAD + b"".join(rows(0, k))) for k in range(CHANGE, END + 1, 5)]),
    "the last rows alone": (BEFORE, [replaced(HEAD + b"".join(rows(k - 80, k))) for k in range(CHANGE, END + 1, 5)]),
    "replaced": (BEFORE, [replaced(HEAD + b"".join(rows(CHANGE, CHANGE + 4))), *rows(CHANGE + 4, END)]),
}


@pytest.mark.parametrize("name", CHANGES)
def test_every_danger_after_a_change_is_told_of_the_right_output(tmp_path, monkeypatch, name):
    first, steps = CHANGES[name]
    seen = watch(monkeypatch, tmp_path / "log.csv", first, steps)
    assert seen.code == 0
    assert seen.summary["samples"] == END
    assert seen.episodes == {"Left": 2, "Right": 0}
    sizes = [event["deviation_V"] for event in seen.told if event["event"] == "episode"]
    np.testing.assert_allclose(sizes, [0.306, 39.996], atol=0.002)
    assert {event["channel"] for event in seen.alarms("protection") + seen.alarms("danger")} == {"Left"}
    # at once: within three rows of the first at 40 V (a file written anew comes in handfuls of five)
    done = len(steps) - (END - STANDS) if len(steps) > 100 else (STANDS - CHANGE) // 5
    assert seen.at("protection") <= done + 3
    assert (seen.alarms("not seen") != []) == (name == "a column less")
    for judged in seen.summary["offline"]:  # the whole file, where it can be read as one
        if name != "the last rows alone":
            assert judged["episodes"] == seen.episodes[judged["channel"]], judged
    if name in {"unit", "order", "row of units", "unit above", "heading as a comment"}:
        # It is told, and the whole file is not read under its first heading.
        line = first.count(b"\n") + 1
        assert any(f"line {line}:" in note and "heading changes" in note for note in seen.summary["notes"])
        with pytest.raises(LogError, match="split the file there"):
            read_log(tmp_path / "log.csv")


@pytest.mark.parametrize(
    ("heading", "unit", "order"),
    [(b"Timestamp,Left [V],Right [V]\n", 1e-3, (0, 1)), (b"Timestamp,Right [mV],Left [mV]\n", 1.0, (1, 0))],
)
def test_a_danger_in_the_first_rows_below_a_new_heading_does_not_wait(tmp_path, monkeypatch, heading, unit, order):
    steps: list[Step] = [heading, *rows(STANDS, STANDS + 3, unit=unit, order=order, shift_s=CHANGE - STANDS)]
    seen = watch(monkeypatch, tmp_path / "log.csv", BEFORE, steps)
    assert [event["channel"] for event in seen.alarms("protection")] == ["Left"]
    assert seen.at("protection") <= len(steps)
    assert seen.summary["samples"] == CHANGE + 3


@pytest.mark.parametrize("shift_s", [-300.0, 7200.0])
def test_a_swing_soon_after_a_clock_was_set_is_counted(tmp_path, monkeypatch, shift_s):
    """The unit was not switched off: its first readings are as those before, so there is no start to wait for."""
    seen = watch(monkeypatch, tmp_path / "log.csv", BEFORE, rows(CHANGE, END, shift_s=shift_s, swing=CHANGE + 5))
    assert seen.summary["runs"] == 2
    assert seen.episodes == {"Left": 2, "Right": 0}


def test_a_start_after_a_pause_is_still_awaited():
    """Zero before the relay closes, then a surge of 90 mV: a power-up, no swing (rule for the first seconds)."""
    rng = np.random.default_rng(3)
    calm = 0.004 + np.round(rng.normal(0, 3e-4, 600), 5)
    start = calm.copy()
    start[:10] = np.round(rng.normal(0, 1e-5, 10), 6)
    start[10:14] += 0.09
    watcher = Watcher(("left",), cadence_s=1.0)
    for run, values in enumerate((calm, start)):
        watcher.feed(Fresh(run, np.arange(values.size) * 1.0, (values,), True, goes_on=run == 1))
    watcher.finish()
    assert watcher.states()[0].episodes == 0


# ---------------------------------------------------------------- what cannot be followed


@pytest.mark.parametrize(
    ("steps", "rows_blind"),
    [
        ([b"Timestamp,Woofer [mV],Tweeter [mV]\n", *AFTER], 12),
        (["Čas,Levý,Pravý\n".encode(), *AFTER], 12),
        ([b";V;V\n".replace(b";", b","), *rows(CHANGE, END, unit=1e-3)], 12),
        ([b"# Unit: V\n", *rows(CHANGE, END, unit=1e-3)], 12),
        (rows(CHANGE, END, order=(0,)), 12),
        ([line.replace(b"\n", b",21.5\n") for line in AFTER], 12),
        (rows(CHANGE, END, separator="|"), 12),
    ],
    ids=["other names", "unknown words", "units alone", "a comment alone", "a cell less", "a cell more", "separator"],
)
def test_where_lines_cannot_be_understood_the_watch_ends_loudly(tmp_path, monkeypatch, steps, rows_blind):
    seen = watch(monkeypatch, tmp_path / "log.csv", BEFORE, steps)
    assert seen.code == 2
    assert seen.summary["samples"] == CHANGE
    assert f"line {CHANGE + 2}" in seen.summary["ended"] and "nothing can be judged" in seen.summary["ended"]
    assert seen.summary["ended"] in seen.err
    assert [event["kind"] for event in seen.summary["alarms"]][-1] == "blind"
    assert seen.at("blind") <= rows_blind + 1


def test_what_was_read_before_the_first_bad_line_is_told_first(tmp_path, monkeypatch):
    """Good rows with a danger and rows that cannot be read in one block."""
    block = b"".join([*rows(CHANGE, STANDS + 8), *rows(STANDS + 8, END, order=(0,))])
    seen = watch(monkeypatch, tmp_path / "log.csv", BEFORE, [block])
    assert seen.code == 2
    assert seen.summary["samples"] == STANDS + 8
    assert len(seen.alarms("protection")) == len(seen.alarms("danger")) == 1


# ---------------------------------------------------------------- cells that cannot be read


@pytest.mark.parametrize("word", [b"bereichsende", b"*****", b">2000", b""])
def test_a_channel_that_alone_is_not_read_is_told_and_the_other_is_followed(tmp_path, monkeypatch, word):
    """Forty rows without the right output's reading: an alarm within three rows, and the left output's danger in them."""
    lost = range(STANDS - 10, STANDS + 30)
    steps = rows(CHANGE, END)
    steps[lost.start - CHANGE : lost.stop - CHANGE] = blank(rows(lost.start, lost.stop), 2, word)
    seen = watch(monkeypatch, tmp_path / "log.csv", BEFORE, steps)
    assert seen.code == 0
    assert [event["channel"] for event in seen.alarms("not seen")] == ["Right"]
    assert seen.at("not seen") <= lost.start - CHANGE + 3
    assert seen.alarms("danger")[0]["channel"] == "Left"
    assert seen.episodes == {"Left": 2, "Right": 0}
    right = next(item for item in seen.summary["channels"] if item["channel"] == "Right")
    left = next(item for item in seen.summary["channels"] if item["channel"] == "Left")
    assert right["observed_h"] * 3600 <= left["observed_h"] * 3600 - 39
    assert any("Right: not seen for" in caution for caution in seen.summary["cautions"])
    assert any(word.decode() in note for note in seen.summary["notes"]) or not word


def test_one_cell_that_cannot_be_read_after_rising_numbers_is_an_alarm_and_at_rest_a_note(tmp_path, monkeypatch):
    calm = rows(CHANGE, END, swing=END)[: STANDS - CHANGE]
    steps = [*calm[:50], *blank(calm[50:51], 1, b"banana"), *calm[51:]]
    seen = watch(monkeypatch, tmp_path / "calm.csv", BEFORE, steps)
    assert seen.alarms("not seen") == []
    assert any("banana" in note for note in seen.summary["notes"])
    rising = [*blank(calm[48:49], 1, b"60.0"), *blank(calm[49:50], 1, b"300.0")]
    steps = [*calm[:48], *rising, *blank(calm[50:51], 1, b"banana"), *calm[51:]]
    seen = watch(monkeypatch, tmp_path / "rising.csv", BEFORE, steps)
    assert "300 mV just before" in seen.alarms("not seen")[0]["text"]
    assert seen.at("not seen") <= 52


def test_channels_read_in_turn_ring_once_they_leave_out_more_than_a_turn():
    """Each of three outputs in every third row is the logger's way; sixty rows without one are not."""
    rng = np.random.default_rng(1)
    columns = [0.004 + np.round(rng.normal(0, 3e-4, 900), 5) for _ in range(3)]
    for k, values in enumerate(columns):
        values[np.arange(900) % 3 != k] = np.nan
    columns[1][600:660] = np.nan
    watcher = Watcher(("a", "b", "c"), cadence_s=1.0)
    told = [
        e
        for k in range(0, 900, 7)
        for e in watcher.feed(Fresh(0, np.arange(900.0)[k : k + 7], tuple(c[k : k + 7] for c in columns), k == 0))
    ]
    assert [(e.channel, e.kind) for e in told if e.event == "alarm"] == [("b", "not seen")]


def test_a_watch_never_calls_clean_what_was_not_seen():
    """Three and a half calm hours with one blank of ten seconds in one output alone."""
    rng = np.random.default_rng(2)
    columns = [0.004 + np.round(rng.normal(0, 3e-4, 6300), 5) for _ in range(2)]
    columns[1][3000:3005] = np.nan
    watcher = Watcher(("left", "right"), cadence_s=2.0, bad_rate_per_h=1.5)
    for k in range(0, 6300, 100):
        watcher.feed(Fresh(0, 2.0 * np.arange(k, k + 100), tuple(c[k : k + 100] for c in columns), k == 0))
    assert [state.decision for state in watcher.states()] == ["clean enough", "go on"]
    assert any(caution.startswith("right: not seen for") for caution in watcher.summary("decided").cautions)


# ---------------------------------------------------------------- others at the same file


def test_a_file_that_stops_growing_rings_once_and_again_after_more(tmp_path, monkeypatch):
    nothing: list[Step] = [b""] * 80  # the watch sleeps half a second each time
    steps = [*AFTER[:20], *nothing, *AFTER[20:40], *nothing]
    seen = watch(monkeypatch, tmp_path / "log.csv", BEFORE, steps, "--idle", "45")
    assert len(seen.alarms("silent")) == 2
    assert "no new reading for 30 s" in seen.alarms("silent")[0]["text"]


def test_the_screen_says_where_an_output_stands_and_that_no_loudspeaker_may_be_connected(tmp_path, capsys):
    path = tmp_path / "log.csv"
    path.write_text(
        "time_s,left_V\n" + "".join(f"{k},{0.003 + 2e-4 * (k % 3) if k < 900 else 1.3}\n" for k in range(1300))
    )
    assert main(["watch", str(path), "--until", "stopped", "--idle", "0.3"]) == 0
    page = capsys.readouterr().out
    assert "reads 1.30 V" in page and "stands still as it never did, at 1.30 V" in page
    assert "left: loudspeaker: do not connect" in page


def test_a_heading_alone_is_waited_for_and_told(tmp_path, monkeypatch):
    path = tmp_path / "log.csv"
    path.write_bytes(HEAD)
    steps: list[Step] = [b""] * 60 + [b"".join(rows(0, 40))]
    seen = watch(monkeypatch, path, HEAD, steps, "--idle", "90")
    assert sum("waiting for more" in event["text"] for event in seen.told) == 1
    assert seen.summary["samples"] == 40


def test_two_watches_of_one_file_tell_the_same(tmp_path):
    path = tmp_path / "log.csv"
    path.write_bytes(BEFORE)
    logs = [GrowingLog(path) for _ in range(2)]
    watchers = [Watcher(("Left", "Right"), cadence_s=1.0) for _ in logs]
    for lo in range(CHANGE - 25, END, 25):
        for log, watcher in zip(logs, watchers, strict=True):
            while parts := log.poll():
                for part in parts:
                    watcher.feed(part)
        with path.open("ab") as file:
            file.write(b"".join(rows(lo + 25, lo + 50)))
    for log in logs:
        log.close()
    assert watchers[0].states() == watchers[1].states()
    assert watchers[0].states()[0].episodes >= 1
