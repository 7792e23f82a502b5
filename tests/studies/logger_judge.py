"""Judges what was read of a logger file against its truth (`logger_files`), and follows the advice of every refusal.

The judge knows nothing of how the reader works: it sees the log that `flicker.read_log` gives, or the sentence of its
refusal, and what the command line prints.
"""

from __future__ import annotations

import contextlib
import io
import json
import re
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import Any

import numpy as np
from logger_files import Truth
from numpy.typing import NDArray

import flicker
from flicker.cli import main


class Outcome(StrEnum):
    RIGHT = "right"
    ASKED = "asked, though the file tells"
    ASKED_RIGHTLY = "asked rightly"
    TOLD = "not all read, but told"
    WRONG = "silently wrong"
    LOST = "lost without a word"
    REMEDY_FAILS = "remedy does not work"
    CRASHED = "crashed"


@dataclass(frozen=True)
class Read:
    """What was read: volts by channel, seconds from the first row, clock time of the first row, notes."""

    channels: dict[str, NDArray[np.float64]]
    time_s: NDArray[np.float64]
    start: datetime | None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Verdict:
    """What became of one file; `kind` says what was wrong, `tried` what was done on the refusal's advice."""

    outcome: Outcome
    kind: str = ""
    detail: str = ""
    sentence: str = ""
    tried: tuple[str, ...] = field(default=())


def observe(path: Path, **options: Any) -> Read:
    """Read a file by the public interface."""
    log = flicker.read_log(path, **options)
    frame = log.to_frame()
    runs = log.runs
    offsets = np.array([r.offset_s for r in runs])
    time = frame["time_s"].to_numpy(float) + offsets[frame["run"].to_numpy(int)]
    notes = tuple(n for r in runs for n in r.notes)
    return Read({c: frame[c].to_numpy(float) for c in log.channels}, time - (time[0] if len(time) else 0.0),
                runs[0].start if runs else None, notes)  # fmt: skip


def perfect(truth: Truth) -> Read:
    """Return what a perfect reader would read."""
    notes = ("The file gives no unit; the readings were taken as volts.",) if "unit" in truth.lacks else ()
    return Read({c.name: c.values_V.copy() for c in truth.channels}, truth.time_s.copy(), truth.start, notes)


# ---------------------------------------------------------------- a log against the truth


def _same(read: NDArray[np.float64], true: NDArray[np.float64]) -> NDArray[np.bool_]:
    with np.errstate(invalid="ignore"):
        near = np.isfinite(true) & (np.abs(read - true) <= 1e-9 + 1e-6 * np.abs(true))
    return near | (np.isnan(read) & np.isnan(true)) | (np.isinf(read) & np.isinf(true) & (np.sign(read) == np.sign(true)))


@np.errstate(divide="ignore", invalid="ignore")
def _difference(read: NDArray[np.float64], true: NDArray[np.float64]) -> str:
    """Say in a word what is wrong with the values of a channel."""
    both = np.isfinite(read) & np.isfinite(true)
    if np.any(np.isinf(true) & ~np.isinf(read)):
        return "over range lost" if np.all(np.isnan(read[np.isinf(true) & ~np.isinf(read)])) else "over range a number"
    some = both & (np.abs(true) > 1e-12)
    if some.sum() > 3:
        ratio = read[some] / true[some]
        for k in (1e3, 1e-3, 1e6, 1e-6, 1e9, 1e-9):
            if np.median(np.abs(ratio / k - 1)) < 1e-3:
                return "unit"
        wrong = ~_same(read, true) & both
        if wrong.sum() and np.all(np.abs(read[wrong] + true[wrong]) <= 1e-9 + 1e-6 * np.abs(true[wrong])):
            return "sign"
        if wrong.sum() and np.isin(np.round(np.log10(np.maximum(1e-15, np.abs(read[wrong] / true[wrong]))), 4),
                                   [3, -3, 6, -6]).all():  # fmt: skip
            return "unit or thousands of some readings"
        if np.median(np.abs(np.log10(np.abs(ratio)) - np.round(np.log10(np.abs(ratio))))) < 1e-3 and np.median(ratio) != 1:
            return "decimal"
    if np.all(_same(read, true) | (np.isnan(read) & ~np.isnan(true))):
        return "readings lost"
    if np.all(_same(read, true) | np.isnan(true)):
        return "missing read as a number"
    return "values"


def _align(truth: Truth, read: Read) -> tuple[NDArray[np.intp], NDArray[np.intp]] | None:
    """Pair true rows with read rows: by position if as many or only the end differs, else by time."""
    n, m = len(truth.time_s), len(read.time_s)
    if n == m:
        return np.arange(n), np.arange(n)
    both = min(n, m)
    true = truth.channels[0].values_V[:both]
    if any(_same(values[:both], true).mean() > 0.97 for values in read.channels.values()):
        return np.arange(both), np.arange(both)
    best: tuple[NDArray[np.intp], NDArray[np.intp]] | None = None
    step = float(np.median(np.diff(truth.time_s)))
    for shift in truth.time_s[:12]:
        at = np.searchsorted(read.time_s, truth.time_s - shift - step / 4)
        inside = at < m
        rows = np.flatnonzero(inside)
        rows = rows[np.abs(read.time_s[at[rows]] + shift - truth.time_s[rows]) < step / 4]
        if len(rows) and (best is None or len(rows) > len(best[0])):
            best = rows, at[rows]
    return best if best is not None and len(best[0]) > 0.5 * min(n, m) else None


def _plain(name: str) -> str:
    return re.sub(r"[^0-9a-zµ]", "", name.casefold())


def _told(notes: tuple[str, ...]) -> bool:
    """Say whether a note tells that something was not read: rows, lines, cells or readings, with a count."""
    return any(re.search(r"\b(rows?|lines?|cells?|readings?|samples?)\b", n) and re.search(r"\d|\bone\b", n) for n in notes)


def judge(truth: Truth, read: Read) -> Verdict:
    """Judge a log that was read."""
    faults: list[tuple[Outcome, str, str]] = []

    def fault(kind: str, detail: str = "", outcome: Outcome = Outcome.WRONG) -> None:
        faults.append((outcome, kind, detail))

    lost = Outcome.TOLD if _told(read.notes) else Outcome.LOST
    pairs = _align(truth, read)
    n, m = len(truth.time_s), len(read.time_s)
    woven = len(truth.channels) * n
    if m > n and abs(m - woven) < 0.02 * woven:
        return Verdict(Outcome.WRONG, "channels woven into one", f"{m} rows for {len(truth.channels)} times {n}")
    if pairs is None:
        about = f"{m} rows over {read.time_s[-1] if m else 0:.6g} s read, {n} over {truth.time_s[-1]:.6g} s true"
        fault("time scale" if abs(m - n) <= 0.05 * n else "rows", about)
        return Verdict(*faults[0])
    rows, at = pairs
    gone = np.setdiff1d(np.arange(n), rows)
    nothing = np.all([np.isnan(c.values_V) for c in truth.channels], axis=0)
    gone = np.array([g for g in gone if g not in truth.may_lack_rows and not nothing[g]], int)
    if len(gone):
        peak = max(float(np.nanmax(np.abs(np.where(np.isfinite(c.values_V[gone]), c.values_V[gone], 99)))) for c in truth.channels)
        fault("rows lost", f"{len(gone)} of {n} rows, up to {peak:.3g} V", lost)
    if m - len(at) > 0:
        fault("rows too many", f"{m - len(at)} rows that are none")
    checked = np.array([r not in truth.may_lack_rows for r in rows], bool)
    rows, at = rows[checked], at[checked]

    # channels: found by their values, then their names are looked at
    left = dict(read.channels)
    named: dict[str, str] = {}
    for channel in truth.channels:
        true = channel.values_V[rows]
        exact = [name for name, values in left.items() if _same(values[at], true).all()]
        if exact:
            want = _plain(channel.name)
            exact.sort(key=lambda name: want not in _plain(name))
            named[channel.name] = exact[0]
            del left[exact[0]]
    for channel in truth.channels:
        if channel.name in named:
            continue
        if not left:
            fault("channel not read", channel.name)
            continue
        true = channel.values_V[rows]
        want = _plain(channel.name)
        order = sorted(left, key=lambda name: (want not in _plain(name), -float(_same(left[name][at], true).mean())))
        name = order[0]
        given = re.fullmatch(r"(ch|column|channel)\d+", _plain(name))  # a reader's own name for a column without one
        if want not in _plain(name) and _same(left[name][at], true).mean() < 0.3 and not given:
            fault("channel not read", channel.name)
            continue
        values = left.pop(name)[at]
        kind = _difference(values, true)
        bad = np.flatnonzero(~_same(values, true))
        k = int(bad[np.argmax(np.abs(np.nan_to_num(true[bad], posinf=9, neginf=9)))])
        detail = f"{channel.name}: {len(bad)} readings, such as {values[k]:.6g} V for {true[k]:.6g} V"
        fault(kind, detail, lost if kind in ("readings lost", "over range lost") else Outcome.WRONG)
    for other in truth.channels:
        for name in [named[c.name] for c in truth.channels if c.name in named and c.name != other.name]:
            own = next(c.name for c in truth.channels if named.get(c.name) == name)
            swapped = _plain(other.name) in _plain(name) and _plain(own) not in _plain(name) and len(_plain(own)) > 1
            if swapped or _plain(name) == _plain(other.name) != _plain(own):
                fault("channels mixed", f"{own} is called {name}")
    for name in left:
        fault("column that is no output", name)

    # time
    true_t, read_t = truth.time_s[rows], read.time_s[at]
    if len(rows) > 1:
        away = np.abs((read_t - read_t[0]) - (true_t - true_t[0]))
        allowed = np.maximum(truth.time_tolerance_s * 1.01, 1e-6 * true_t)
        if np.any(away > allowed):
            k = int(np.argmax(away))
            fault("time scale", f"{read_t[k] - read_t[0]:.6g} s for {true_t[k] - true_t[0]:.6g} s")
    if read.start is not None and truth.start is not None:
        start = read.start.replace(tzinfo=None)
        shift = abs((start - truth.start).total_seconds())
        if shift > truth.start_within_s:
            fault("date" if shift >= 86400 else "clock", f"{start} for {truth.start}")
    elif truth.start is not None and "date order" not in truth.lacks:
        fault("date lost", f"{truth.start}", Outcome.LOST)

    # units nobody wrote
    if "unit" in truth.lacks and not any(f[1] in ("unit", "decimal", "values") for f in faults):
        if "unit" in truth.options and truth.options["unit"] != "V":
            fault("unit", "millivolts without a word of the file")
        elif not any(re.search(r"\bvolts?\b|\bV\b|\bunits?\b", note) for note in read.notes):
            fault("unit", "taken as volts without a note")
    if faults and all(f[1] == "unit" for f in faults) and "unit" in truth.lacks:
        factor = [_ratio(read, named, c, rows, at) for c in truth.channels]
        as_volts = {"mV": 1e3, "µV": 1e6}.get(str(truth.options.get("unit")))
        said = any(re.search(r"\bvolts?\b|\bV\b", note) for note in read.notes)
        if as_volts and said and all(abs(f / as_volts - 1) < 1e-3 for f in factor):
            return Verdict(Outcome.TOLD, "taken as volts, with a note", "")
    if truth.refuse_or_warn:
        if truth.refuse_or_warn == "sign column" and not faults:  # signs applied: the log is right
            return Verdict(Outcome.RIGHT)
        # a column named among those left out is no warning
        bare = [re.sub(r'"(Sign|[^"]* sign|AC/DC)"|decimal signs?', "", note) for note in read.notes]
        word = {"AC mode": r"\bAC\b", "sign column": r"(?i)\bsigns?\b|polarit"}[truth.refuse_or_warn]
        if any(re.search(word, note) for note in bare):
            return Verdict(Outcome.TOLD, truth.refuse_or_warn, read.notes[0])
        if truth.refuse_or_warn == "AC mode":
            fault("AC taken for an offset")
    if "which of two units" in truth.lacks:
        fault("unit", "header and units row contradict, not noticed")
    if "scale of counts" in truth.lacks and not faults:
        fault("unit", "counts taken as volts")
    if not faults:
        return Verdict(Outcome.RIGHT)
    rank = [Outcome.WRONG, Outcome.LOST, Outcome.TOLD]
    worst = min(faults, key=lambda f: rank.index(f[0]))
    return Verdict(worst[0], worst[1], worst[2] or "; ".join(f"{k}: {d}" for _, k, d in faults))


def _ratio(read: Read, named: dict[str, str], channel: Any, rows: Any, at: Any) -> float:
    name = named.get(channel.name) or min(read.channels, key=lambda c: _plain(channel.name) not in _plain(c))
    true = channel.values_V[rows]
    some = np.isfinite(true) & (np.abs(true) > 1e-12)
    return float(np.median(read.channels[name][at][some] / true[some])) if some.any() else 1.0


# ---------------------------------------------------------------- refusals and their advice

KEYWORDS = {
    "unit": "unit", "time_unit": "time_unit", "sample_interval": "sample_interval_s", "sample_interval_s":
    "sample_interval_s", "interval": "sample_interval_s", "day_first": "day_first", "month_first": "day_first",
    "date_order": "date_order", "decimal": "decimal", "channels": "channels", "role": "roles", "roles": "roles",
    "time_column": "time_column", "separator": "separator",
}  # fmt: skip


# what a refusal may ask for, by what the file lacks
ASKS: dict[str, tuple[str, ...]] = {
    "unit": ("unit",), "which of two units": ("unit",), "date order": ("day_first", "date_order"), "decimal": ("decimal", "thousands"),
    "time scale": ("time_unit", "sample_interval_s", "time_column"), "scale of counts": (),
}  # fmt: skip


def advised(sentence: str) -> list[str]:
    """Return the options that a sentence names, as keywords of `flicker.read_log`."""
    found = [w.replace("-", "_") for w in re.findall(r"--([a-z][a-z-]+[a-z])", sentence)]
    found += [w for w in re.findall(r"\b([a-z_]+)=", sentence) if w in KEYWORDS]
    return list(dict.fromkeys(KEYWORDS.get(w, w) for w in found))


def arguments(options: dict[str, Any], sentence: str) -> list[str]:
    """Write reading options as on the command line, in the form that the sentence names."""
    out: list[str] = []
    for key, value in options.items():
        match key:
            case "day_first" if re.search(r"--day-first\W+(yes|no)", sentence):
                out += ["--day-first", "yes" if value else "no"]
            case "day_first":
                out += ["--day-first" if value else "--month-first"]
            case "channels":
                out += ["--channels", ",".join(value)]
            case "roles":
                for column, role in value.items():
                    out += ["--role", f"{column}={role}"]
            case "sample_interval_s":
                out += ["--sample-interval", f"{value:g}"]
            case "unit":
                out += ["--unit", value.replace("µ", "u")]
            case _:
                out += ["--" + key.replace("_", "-"), str(value)]
    return out


def by_command(path: Path, options: list[str]) -> tuple[int, Any, str]:
    """Run ``flicker assess PATH --json`` with options in this process; return exit code, document, error text."""
    raw, err = io.BytesIO(), io.StringIO()
    out = io.TextIOWrapper(raw, encoding="utf-8", write_through=True)
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main(["assess", str(path), "--json", *options])
    out.flush()
    text = raw.getvalue().decode()
    return code, json.loads(text) if code == 0 else None, err.getvalue().strip()


def same_by_command(path: Path, truth: Truth, options: dict[str, Any], sentence: str) -> str:
    """Read with options by the command line; return what differs from Python and the truth, or nothing."""
    argv = arguments(options, sentence)
    code, document, error = by_command(path, argv)
    if code != 0:
        return f"{' '.join(argv)}: {error}"
    log = flicker.read_log(path, **options)
    runs = [r.to_dict() for r in log.runs]
    for mine, theirs in zip(runs, document["runs"], strict=False):
        alone = len(runs) == len(document["runs"])  # a run may be cut where the unit was switched on or off
        if any(mine[k] != theirs[k] for k in ("start", "duration_s", "sample_interval_s") if alone or k != "duration_s"):
            return f"{' '.join(argv)}: another clock than in Python"
    if len(runs) > len(document["runs"]) or list(log.channels) != [c["channel"] for c in document["channels"]]:
        return f"{' '.join(argv)}: other runs or channels than in Python"
    for channel, true in zip(document["channels"], truth.channels, strict=False):
        level = (channel.get("baseline") or {}).get("level_V")
        rest = float(np.nanmedian(true.values_V))
        if level is not None and abs(level - rest) > 0.005 + 0.5 * abs(rest):
            return f"{' '.join(argv)}: rests at {level:.3g} V, true {rest:.3g} V"
    return ""


def refused(
    path: Path, truth: Truth, sentence: str, *, command_line: bool = True, again: Callable[[str], Path] | None = None
) -> Verdict:
    """Follow the advice of a refusal, sentence by sentence, and judge what is read then.

    ``again`` writes the same log with another separator, where that is the advice.
    """
    lacking = {word for lack in truth.lacks for word in ASKS[lack]}
    known = replace(truth, lacks=tuple(w for w in truth.lacks if w == "scale of counts"))
    options: dict[str, Any] = {}
    said, tried = sentence, []
    asked = Outcome.ASKED_RIGHTLY
    for _ in range(5):
        names = advised(said)
        if not truth.refuse_or_warn and not lacking & set(names) and "scale of counts" not in truth.lacks:
            asked = Outcome.ASKED
        if not names and "write the log with semicolons" in said and again is not None:
            path, again = again("semicolon"), None
            tried.append("written with semicolons")
            verdict = judge(known, observe(path, **options))
            if verdict.outcome not in (Outcome.RIGHT, Outcome.TOLD):
                return Verdict(Outcome.REMEDY_FAILS, f"then {verdict.kind}", verdict.detail, said, tuple(tried))
            return Verdict(asked, "", "", sentence, tuple(tried))
        if not names:
            if truth.refuse_or_warn or "scale of counts" in truth.lacks:
                return Verdict(asked, "no log of volts as it stands", sentence=sentence, tried=tuple(tried))
            return Verdict(Outcome.REMEDY_FAILS, "names no option", "", said, tuple(tried))
        new = {k: truth.options[k] for k in names if k in truth.options and k not in options}
        if not new:
            if "scale of counts" in truth.lacks:
                return Verdict(asked, "no log of volts as it stands", sentence=sentence, tried=tuple(tried))
            why = "asks again" if any(k in options for k in names) else "the option has no true value"
            return Verdict(Outcome.REMEDY_FAILS, why, ", ".join(names), said, tuple(tried))
        # alternatives of one sentence may exclude each other: together first, then one by one
        last = ""
        for some in [new, *({k: v} for k, v in new.items() if len(new) > 1)]:
            given = {**options, **some}
            tried.append(", ".join(f"{k}={v!r}" for k, v in given.items()))
            try:
                verdict = judge(known, observe(path, **given))
            except flicker.LogError as error:
                last = str(error)
                continue
            except TypeError as error:
                verdict = Verdict(Outcome.REMEDY_FAILS, "Python has no such option", str(error))
            except Exception as error:
                return Verdict(Outcome.CRASHED, type(error).__name__, str(error), sentence, tuple(tried))
            if verdict.outcome in (Outcome.RIGHT, Outcome.TOLD):
                fails = same_by_command(path, truth, given, said) if command_line else ""
                if not fails:
                    if asked is Outcome.ASKED_RIGHTLY and _too_much(path, given, lacking):
                        asked = Outcome.ASKED
                    return Verdict(asked, "", "", sentence, tuple(tried))
                return Verdict(Outcome.REMEDY_FAILS, "not on the command line", fails, said, tuple(tried))
            last = ""
        if not last:
            kind = f"then {verdict.kind}" if verdict.outcome is not Outcome.REMEDY_FAILS else verdict.kind
            return Verdict(Outcome.REMEDY_FAILS, kind, verdict.detail, said, tuple(tried))
        options, said = {**options, **new}, last
    return Verdict(Outcome.REMEDY_FAILS, "asks without end", "", said, tuple(tried))


def _too_much(path: Path, given: dict[str, Any], lacking: set[str]) -> bool:
    """Whether more was asked than the file leaves open: what it lacks, told alone, does not suffice."""
    needed = {k: v for k, v in given.items() if k in lacking}
    if len(needed) in (0, len(given)):
        return False
    try:
        flicker.read_log(path, **needed)
    except flicker.LogError:
        return True
    return False


def judge_file(
    path: Path, truth: Truth, *, command_line: bool = True, again: Callable[[str], Path] | None = None
) -> tuple[Verdict, Read | None]:
    """Read a file and judge what became of it."""
    try:
        read = observe(path)
    except flicker.LogError as error:
        return refused(path, truth, str(error), command_line=command_line, again=again), None
    except Exception as error:
        return Verdict(Outcome.CRASHED, type(error).__name__, str(error)), None
    return judge(truth, read), read
