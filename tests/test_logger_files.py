"""Random logger files with known truth (`studies/logger_files.py`), 80 of them; and the judge itself, judged.

The bounds are those of the issue 'Reading: the file's own word, and nothing silently wrong': nothing silently wrong, at
least 88 % of the files that tell everything read without asking, every refusal's advice works.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent / "studies"))
import fresh_exports as exports
from logger_files import DIMENSIONS, PLAIN, Spec, Truth, draw, make, marks_known, readings_of_dates, settle, write
from logger_judge import Outcome, Read, Verdict, advised, judge, judge_file, perfect
from study_reading import one, shrink

SEEDS = range(80)
# share of the files that tell everything which are read right without asking; the goal is 0.88
RECORDED_SHARE = 0.93  # 0.97 to 0.98 over some 3,000 files; the rest are dates such as 25/04/20, which are asked about
COMMAND_LINES = 8  # refusals whose advice is followed on the command line too (a second each); the study follows all

Judged = list[tuple[Spec, Truth, Verdict, Read | None]]


@pytest.fixture(scope="module")
def judged(tmp_path_factory: pytest.TempPathFactory) -> Judged:
    folder = tmp_path_factory.mktemp("loggers")
    out: Judged = []
    left = COMMAND_LINES
    for seed in SEEDS:
        spec = draw(seed)
        path, truth = write(spec, folder)
        verdict, read = judge_file(path, truth, command_line=left > 0)
        left -= bool(verdict.sentence)
        out.append((spec, truth, verdict, read))
        path.unlink()
    return out


def listed(judged: Judged, *outcomes: Outcome) -> str:
    return "\n".join(
        f"seed {s.seed}: {v.outcome}, {v.kind} {v.detail} {v.sentence}" for s, _, v, _ in judged if v.outcome in outcomes
    )


def test_nothing_is_silently_wrong_or_lost(judged: Judged) -> None:
    assert not listed(judged, Outcome.WRONG, Outcome.LOST)


def test_the_advice_of_every_refusal_works(judged: Judged) -> None:
    assert not listed(judged, Outcome.REMEDY_FAILS)


def test_no_file_ends_in_a_traceback(judged: Judged) -> None:
    assert not listed(judged, Outcome.CRASHED)


def test_the_recorded_share_is_read_without_asking(judged: Judged) -> None:
    tell = [v.outcome for _, truth, v, _ in judged if truth.tells]
    assert tell.count(Outcome.RIGHT) >= RECORDED_SHARE * len(tell)


@lru_cache
def true_files() -> list[tuple[int, Truth]]:
    """Seeds and truths of files for which a perfect reader's log is right without a word."""
    made = [(seed, make(draw(seed))[2]) for seed in range(0, 120, 3)]
    odd = {"unit", "which of two units", "scale of counts"}
    return [(seed, t) for seed, t in made if not t.refuse_or_warn and not odd & set(t.lacks)]


# ---------------------------------------------------------------- the judge: it must notice each change of the truth


def _values(truth: Truth, change: Callable[[np.ndarray], np.ndarray]) -> Truth:
    return replace(truth, channels=tuple(replace(c, values_V=change(c.values_V.copy())) for c in truth.channels))


def _one_reading(truth: Truth) -> Truth:
    first = truth.channels[0]
    values = first.values_V.copy()
    at = len(values) // 2 + int(np.argmax(np.isfinite(values[len(values) // 2 :])))
    values[at] += 1e-5
    return replace(truth, channels=(replace(first, values_V=values), *truth.channels[1:]))


def _channel(truth: Truth) -> Truth:
    a, b, *rest = truth.channels
    return replace(truth, channels=(replace(a, values_V=b.values_V), replace(b, values_V=a.values_V), *rest))


def _fewer(truth: Truth) -> Truth:
    keep = np.arange(len(truth.time_s)) != len(truth.time_s) // 2
    channels = tuple(replace(c, values_V=c.values_V[keep]) for c in truth.channels)
    return replace(truth, channels=channels, time_s=truth.time_s[keep])


def _more(truth: Truth) -> Truth:
    at = len(truth.time_s) // 2
    step = truth.time_s[1]
    time = np.insert(truth.time_s + np.where(np.arange(len(truth.time_s)) >= at, step, 0), at, truth.time_s[at])
    channels = tuple(replace(c, values_V=np.insert(c.values_V, at, 2.4)) for c in truth.channels)
    return replace(truth, channels=channels, time_s=time)


def _without_over_range(values: np.ndarray) -> np.ndarray:
    return np.where(np.isinf(values), 0.01, values)


MUTATIONS: dict[str, Callable[[Truth], Truth]] = {
    "unit": lambda t: _values(t, lambda v: v * 1000),
    "unit, the other way": lambda t: _values(t, lambda v: v / 1000),
    "unit of the glitches only": lambda t: _values(t, lambda v: np.where(np.abs(v) > 0.1, v * 1000, v)),
    "decimal": lambda t: _values(t, lambda v: v * 10),
    "sign": lambda t: _values(t, lambda v: -v),
    "sign of some": lambda t: _values(t, lambda v: np.where(v < 0, -v, v) if (v < 0).any() else -v),
    "one reading": _one_reading,
    "channel": _channel,
    "time scale": lambda t: replace(t, time_s=t.time_s * 1000),
    "time scale, half": lambda t: replace(t, time_s=t.time_s / 2),
    "time scale, a thousandth": lambda t: replace(t, time_s=t.time_s * 1.001),
    "date": lambda t: replace(t, start=t.start + timedelta(days=29)) if t.start else t,
    "a row less": _fewer,
    "a row more": _more,
    "a channel less": lambda t: replace(t, channels=t.channels[1:]),
    "a channel more": lambda t: replace(t, channels=(*t.channels, replace(t.channels[0], name="z"))),
}


def test_a_perfect_reader_is_judged_right() -> None:
    for seed, truth in true_files():
        assert judge(truth, perfect(truth)).outcome is Outcome.RIGHT, seed


@pytest.mark.parametrize("name", MUTATIONS)
def test_the_judge_notices_a_changed_truth(name: str) -> None:
    seen = 0
    for seed, truth in true_files():
        if (name == "channel" and len(truth.channels) < 2) or (name == "date" and truth.start is None):
            continue
        verdict = judge(MUTATIONS[name](truth), perfect(truth))
        assert verdict.outcome in (Outcome.WRONG, Outcome.LOST), (seed, verdict)
        seen += 1
    assert seen > 8


@pytest.mark.parametrize("name", MUTATIONS)
def test_the_judge_notices_it_in_files_read_today(judged: Judged, name: str) -> None:
    seen = 0
    for spec, truth, verdict, read in judged:
        if spec.header == "none" or verdict.outcome is not Outcome.RIGHT or read is None or truth.refuse_or_warn:
            continue
        single = len(truth.channels) < 2
        if (name in ("channel", "a channel less") and single) or (name == "date" and (not truth.start or not read.start)):
            continue
        assert judge(MUTATIONS[name](truth), read).outcome is not Outcome.RIGHT, (spec.seed, name)
        seen += 1
    assert seen > 15


def test_over_range_must_not_become_a_number_or_nothing() -> None:
    _, _, truth = make(replace(draw(5), over="OL", unit_place="left (mV)", sign="-345.6", extra="none"))
    read = perfect(truth)
    name = truth.channels[0].name
    for change in (_without_over_range, lambda v: np.where(np.isinf(v), np.nan, v)):
        changed = replace(read, channels={**read.channels, name: change(read.channels[name])})
        assert judge(truth, changed).outcome in (Outcome.WRONG, Outcome.LOST)


def test_a_note_saves_lost_rows_and_volts_and_nothing_else() -> None:
    _, _, truth = make(Spec(seed=3))
    keep = np.arange(len(truth.time_s)) != 100
    read = perfect(truth)
    fewer = Read({k: v[keep] for k, v in read.channels.items()}, read.time_s[keep], read.start)
    assert judge(truth, fewer).outcome is Outcome.LOST
    assert judge(truth, replace(fewer, notes=("Left out: 1 row.",))).outcome is Outcome.TOLD
    louder = replace(read, channels={k: v * 1000 for k, v in read.channels.items()}, notes=("Taken as volts: 3 rows.",))
    assert judge(truth, louder).outcome is Outcome.WRONG
    silent = replace(truth, lacks=("unit",))  # the same file, but with no unit in it
    assert judge(silent, louder).outcome is Outcome.TOLD
    assert judge(silent, replace(louder, notes=())).outcome is Outcome.WRONG
    assert judge(silent, replace(read, notes=("Taken as mV.",))).outcome is Outcome.WRONG


# ---------------------------------------------------------------- files by another hand


@pytest.mark.parametrize("family", exports.FAMILIES)
def test_exports_by_a_hand_that_had_not_read_the_reader(family: str, tmp_path: Path) -> None:
    """Nothing is wrong without a question, nor after its answer (`studies/fresh_exports.py`)."""
    for seed in (51_000, 51_001):
        outcome, why = exports.judge(exports.export(family, seed), tmp_path)
        assert outcome not in ("SILENTLY WRONG", "wrong after an answer", "start not read", "CRASH"), (seed, why)


# ---------------------------------------------------------------- the grammar


def test_a_seed_always_makes_the_same_file() -> None:
    for seed in range(6):
        assert make(draw(seed))[0] == make(draw(seed))[0]


def test_specs_are_settled_and_all_values_occur() -> None:
    drawn = [draw(seed) for seed in range(4000)]
    assert all(settle(spec) == spec for spec in drawn[:1000])
    missing = [(name, value) for name, values in DIMENSIONS.items() for value in values
               if not any(getattr(spec, name) == value for spec in drawn)]  # fmt: skip
    assert not missing


def test_what_a_file_tells_of_its_decimal_sign() -> None:
    assert marks_known(["0,012", "3,500"]) and marks_known(["12", "7"]) and marks_known(["1.234.567", "2.500"])
    assert marks_known(["2.500,3"]) and marks_known(["3,14"]) and not marks_known(["12", "2.500"])


def test_what_a_file_tells_of_its_dates() -> None:
    assert readings_of_dates(["04/03/2031"] * 2, "%d/%m/%Y") == 2
    assert readings_of_dates(["04/04/2031"] * 2, "%d/%m/%Y") == 1
    assert readings_of_dates(["14/03/2031"] * 2, "%d/%m/%Y") == 1
    assert readings_of_dates(["04/03/2031", "05/03/2031"], "%d/%m/%Y") == 1  # past midnight: not a month later
    assert readings_of_dates(["26-03-04"] * 2, "%y-%m-%d") == 2  # 2026 first, or the 26th; no 26th month
    assert readings_of_dates(["04.03.31"] * 2, "%d.%m.%Y") == 0


def test_options_are_found_in_a_sentence() -> None:
    assert advised("say which with unit='V' or unit='mV' (--unit V|mV)") == ["unit"]
    assert advised("give --sample-interval, or --time-column NAME") == ["sample_interval_s", "time_column"]


def test_a_file_that_goes_wrong_is_shrunk() -> None:
    """An invented reader that fails on a mode column beside semicolons: these two are left, nothing else unusual."""

    def judged(spec: Spec) -> Verdict:
        bad = spec.extra == "mode DC" and spec.separator == "semicolon"
        return Verdict(Outcome.WRONG, "unit") if bad else Verdict(Outcome.RIGHT)

    spec = settle(Spec(seed=11, extra="mode DC", separator="semicolon", names="CH1", line_end="crlf", preamble="device",
                       time_form="index", footer="average", sign="(345.6)", decimal="comma"))  # fmt: skip
    small, after = shrink(spec, judged)
    assert small.unusual() == {"extra": "mode DC", "separator": "semicolon"}
    assert after == judged(spec)


def test_one_file_is_read_and_judged_in_one_go() -> None:
    verdict, truth, read = one(Spec(seed=4))
    assert verdict.outcome is Outcome.RIGHT and truth.tells and read is not None
    assert set(read.channels) == {"left", "right"} and set(Spec(seed=4).unusual()) == set() and PLAIN["unit"] == "mV"
