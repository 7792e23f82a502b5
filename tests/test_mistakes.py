"""Seven mistakes of a tired technician, each told in a sentence; sound logs get none. All data invented."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from flicker import Log, assess, compare, read_log, simulate_log
from flicker.simulate import KINDS


def bench(kind, seed=5, hours=2.0, run=0, **options):
    log = simulate_log(kind, seed=seed, hours=hours, **options)
    return log.time_s(run), {name: log.values(name, run) for name in log.channels}


def made(time_s, values, name="log.csv", start=None):
    return Log.from_arrays(time_s, values, name=name, start=start)


def scaled(values, factor):
    return {name: column * factor for name, column in values.items()}


def told(result, words):
    hits = [text for text in result.cautions if words in text]
    assert len(hits) <= 1
    return bool(hits)


def on_ac(time_s, values, seed=0):
    """What a meter on AC makes of it: no offset, size without sign, a true root mean square of hiss in each reading."""
    rng = np.random.default_rng(seed)
    out = {}
    for name, column in values.items():
        moved = np.diff(column, prepend=column[0])
        out[name] = np.round(np.hypot(moved, 0.0004 * np.sqrt(rng.chisquare(8, column.size) / 8)), 4)
    return out


@pytest.mark.parametrize(
    ("kind", "factor", "words"),
    [
        ("steady", 1e3, "if the readings are millivolts, say so with --unit mV"),
        ("noisy", 1e3, "if the readings are millivolts, say so with --unit mV"),
        ("steady", 1e-3, "say so with --unit"),
        ("steady", 1e-6, "say so with --unit"),
    ],
)
def test_wrong_unit(kind, factor, words):
    time_s, values = bench(kind)
    assert told(assess(made(time_s, scaled(values, factor))), words)


@pytest.mark.parametrize("factor", [1e3, 1e-3])
@pytest.mark.parametrize("kind", ["steady", "noisy"])
def test_wrong_unit_on_one_side(kind, factor):
    (t0, v0), (t1, v1) = bench(kind), bench("steady", run=0)
    result = compare(made(t0, v0), made(t1, scaled(v1, factor), "second.csv"))
    assert told(result, "about 1,000 times as large as in the other: one of the two logs was read in the wrong unit")


@pytest.mark.parametrize("kind", ["steady", "noisy"])
def test_channels_swapped_between_before_and_after(kind):
    (t0, v0), (t1, v1) = bench(kind, seed=5), bench(kind, seed=5, hours=2.1)
    assert not told(compare(made(t0, v0), made(t1, v1, "second.csv")), "swapped")
    crossed = {"left": v1["right"], "right": v1["left"]}
    assert told(compare(made(t0, v0), made(t1, crossed, "second.csv")), "were the two channels or their leads swapped?")


@pytest.mark.parametrize("kind", ["steady", "noisy", "drifting-step"])
def test_a_meter_on_ac(kind):
    time_s, values = bench(kind)
    assert told(assess(made(time_s, on_ac(time_s, values))), "a meter on AC shows that. Set it to DC")


def test_a_column_of_ac_volts_is_not_taken_for_dc(tmp_path):
    path = tmp_path / "ac.csv"
    path.write_text("time_s,left (VAC)\n" + "".join(f"{k},0.{k % 7}\n" for k in range(100)))
    with pytest.raises(ValueError, match=r"VAC|volt"):
        read_log(path)


def test_leads_fallen_off_halfway():
    off, (t0, v0) = bench("lead-off", seed=1, hours=4.0), bench("noisy", hours=4.0)
    result = assess(made(*off))
    assert any("lead open from" in text for text in result.cautions)
    compared = compare(made(t0, v0), made(*off, "second.csv"))
    assert any("left, after:" in text and "check the leads" in text for text in compared.cautions)


@pytest.mark.parametrize("seeds", [(1, 2), (3, 4), (5, 6), (7, 8)])
def test_a_log_of_another_unit(seeds):
    """Three starts on each side: one start does not tell how starts of one unit differ among themselves."""
    sides = [
        [made(*bench(kind, seed=seed, hours=0.7, run=run, runs=3), f"{kind} {run}.csv") for run in range(3)]
        for kind, seed in zip(("noisy", "steady"), seeds, strict=True)
    ]
    result = compare(*sides)
    assert told(result, "is it a log of the same unit?") or told(result, "swapped")


def test_starts_that_differ_among_themselves_are_no_other_unit():
    """One unit, whose surges differ from start to start by where the mains wave stands; invented."""
    sizes = ((0.02, 0.3, 0.05), (0.25, 0.03, 0.12))
    time_s, values = bench("steady", hours=0.7)

    def evening(size, name):
        return made(time_s, {k: v + size * np.exp(-time_s / 30.0) for k, v in values.items()}, name)

    sides = [[evening(size, f"{size}.csv") for size in side] for side in sizes]
    assert not told(compare(*sides), "is it a log of the same unit?")


def test_other_names_are_told():
    (t0, v0), (t1, v1) = bench("steady"), bench("noisy", seed=6)
    other = made(t1, {"left": v1["left"], "centre": v1["right"]}, "second.csv")
    assert told(compare(made(t0, v0), other), "Only after has the channel centre")
    assert told(assess([made(t0, v0), other]), "is it the same unit?")


def test_one_log_given_for_both_sides():
    time_s, values = bench("noisy")
    result = compare(made(time_s, values), made(time_s, values, "copy.csv"))
    assert told(result, "one log was given for both sides")
    assert [item.outcome for item in result.channels] == ["no change shown"] * 2


def test_one_log_given_twice():
    time_s, values = bench("noisy")
    assert told(assess([made(time_s, values), made(time_s, values, "copy.csv")]), "was one log given twice?")


def test_two_logs_of_the_same_hours():
    start = dt.datetime(2031, 3, 3, 18, 30)
    (t0, v0), (t1, v1) = bench("noisy"), bench("steady")
    second = made(t1, v1, "second.csv", start + dt.timedelta(hours=1))
    assert told(assess([made(t0, v0, start=start), second]), "cover the same")
    later = made(t1, v1, "second.csv", start + dt.timedelta(hours=3))
    assert not told(assess([made(t0, v0, start=start), later]), "cover the same")


def test_a_warm_up_cut_off():
    (t0, v0), (t1, v1) = bench("warm-up", hours=1.0), bench("steady", hours=1.0)
    keep = t1 > 600
    late = made(t1[keep], {name: column[keep] for name, column in v1.items()}, "second.csv")
    assert told(assess(late), "No power-up was seen")
    assert told(compare(made(t0, v0), late), "No power-up was seen after")


WORDS = ("--unit", "on AC", "swapped", "same unit", "same readings", "cover the same")


@pytest.mark.parametrize(
    "kind", ["steady", "noisy", "drifting-power-ups", "degrading-visits", "warm-up", "timer-nights"]
)
def test_no_mistake_is_seen_between_visits_of_one_unit(kind):
    options = {"runs": 4} if kind in {"drifting-power-ups", "degrading-visits", "warm-up"} else {}
    logs = simulate_log(kind, seed=3, hours=1.0, **options)
    if len(logs.logs) > 1:
        result = compare(logs.logs[0], logs.logs[1:])
    else:
        whole = assess(logs.logs)
        result = whole
    assert not [text for text in result.cautions if any(word in text for word in WORDS)]


@pytest.mark.study
@pytest.mark.parametrize("kind", KINDS)
def test_no_kind_of_bench_is_taken_for_a_mistake(kind):
    found = [text for text in assess(simulate_log(kind, seed=11).logs).cautions if any(word in text for word in WORDS)]
    assert not found


def test_a_unit_on_a_mains_timer_gets_no_caution_of_lost_leads_and_a_fallen_lead_does():
    def lost(kind):
        before, after = (simulate_log(kind, seed=seed).logs[0] for seed in (3, 4))
        return [text for text in compare(before, after).cautions if "check the leads" in text]

    assert lost("timer-nights") == []
    assert len(lost("lead-off")) == 2
