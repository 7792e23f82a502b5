"""What may be claimed between two logs: never what the meters, the leads or the conditions made. All data invented."""

from __future__ import annotations

import itertools
import json
import math
import sys
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from bench_sides import HOUR, drawn, side
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import lfilter
from scipy.stats import binom

from flicker import Log, assess, compare, compare_stages, simulate_log
from flicker.base.limits import Limits
from flicker.case.case_file import Case, CaseChannel, CaseLog, Complaint, Meter, Part
from flicker.cli import main
from flicker.evidence.compare.condition_change import level_change, size_change
from flicker.evidence.compare.stages import credits_of, work_of
from flicker.evidence.compare.weighing import IMPROVED, NO_CHANGE, WORSE, weigh
from flicker.evidence.questions.drift import run_to_run
from flicker.evidence.record.accuracy import BELOW, REVERSED, meter_or_leads, off_by_V

LIMITS = Limits()


def case_of(**told):
    blank = dict.fromkeys(("unit", "serial", "job"))
    given = {"path": "case.toml", "output": "direct", "complaint": Complaint(), "channels": (), "meter": Meter()}
    given |= {"logs": (), "parts": (), "limits": LIMITS, "not_recorded": ()}
    return Case(**(blank | given | told))


def resting(levels_V, *, source="one.csv", channel="left", digit_V=1e-4):
    """A record that rests at a level in each run."""
    traces = tuple(
        SimpleNamespace(
            baseline=SimpleNamespace(knot_V=np.full(9, v)), level_V=v, observed_s=HOUR, resolution_V=digit_V
        )
        for v in levels_V
    )
    return SimpleNamespace(channel=channel, traces=traces, runs=tuple(SimpleNamespace(source=source) for _ in traces))


# ---------------------------------------------------------------- meters and leads

meters = st.builds(
    Meter,
    name=st.just("second"),
    accuracy_V=st.one_of(st.none(), st.floats(0.0, 0.05)),
    accuracy_percent=st.one_of(st.none(), st.floats(0.0, 20.0)),
)
shown = st.floats(-0.5, 0.5).map(lambda v: round(v, 4))


@settings(max_examples=400, deadline=None, derandomize=True)
@given(
    meters,
    meters,
    shown,
    shown,
    st.sampled_from([1.0, 10.0, 0.5, -3.0]),
    st.sampled_from([1, -1]),
    st.floats(-0.02, 0.02),
)
def test_no_difference_below_both_accuracies_or_just_reversed_is_a_finding(one, two, a, b, factor, polarity, zero):
    # Whatever two meters show of one unchanged level within their accuracies, or with the leads turned, is no change.
    use = CaseChannel("left", "a", factor=factor, polarity=polarity, zero_V=zero)
    logs = (CaseLog("one.csv", "one.csv", "x"), CaseLog("two.csv", "two.csv", "y", meter="second"))
    case = case_of(channels=(use,), meter=one, meters=(two,), logs=logs)
    level = [shown_V * factor * polarity - zero for shown_V in (a, b)]
    before, after = resting(level[:1]), resting(level[1:], source="two.csv")
    off = [off_by_V(before, level[0], case), off_by_V(after, level[1], case)]
    # What each meter may be off at what it showed, seen through the factor: reckoned here once more from the definition.
    for meter, shown_V, told in ((one, a, off[0]), (two, b, off[1])):
        known = (meter.accuracy_V or 0.0) + abs(shown_V) * (meter.accuracy_percent or 0.0) / 100.0
        assert told == pytest.approx(known * abs(factor), abs=1e-12)
    found = level_change(before, after, LIMITS, lambda v, w: off_by_V(before, v, case) + off_by_V(after, w, case))
    apart = abs(level[1] - level[0])
    turned = abs(level[0] + level[1]) <= 0.2 * max(abs(level[0]), abs(level[1]))
    if apart <= sum(off) or turned:
        assert found.answer == "not shown"
        if apart > LIMITS.drift_V + 1e-12:  # a difference of just the limit is told or not by rounding
            assert found.note in (REVERSED, BELOW)
    if apart > sum(off) + LIMITS.drift_V + 3e-4 and level[0] * level[1] >= 0:
        assert found.answer == ("less" if abs(level[1]) < abs(level[0]) else "more")
    assert found.low - 1e-12 <= level[1] - level[0] - sum(off) and found.high + 1e-12 >= level[1] - level[0] + sum(off)


@pytest.mark.parametrize(
    ("before", "after", "off", "why"),
    [
        (0.060, 0.063, 0.004, BELOW),
        (0.060, 0.065, 0.004, ""),
        (0.060, -0.060, 0.0, REVERSED),
        (0.060, -0.050, 0.0, REVERSED),
        (0.060, -0.040, 0.0, ""),
        (0.060, -0.040, 0.025, REVERSED),  # 40 and 60 mV are one size for meters that are 25 mV off together
        (0.001, -0.001, 0.004, REVERSED),
        (0.060, 0.0, 0.004, ""),
    ],
)
def test_meter_or_leads(before, after, off, why):
    assert meter_or_leads(before, after, off) == why


def test_sizes_within_the_accuracy_are_one_size():
    before, after = np.full(30, 0.10) * (1 + 1e-4 * np.arange(30)), np.full(30, 0.16) * (1 + 1e-4 * np.arange(30))
    assert size_change(before, after, LIMITS).answer == "more"
    found = size_change(before, after, LIMITS, lambda a, b: 0.07)
    assert found.answer == "not shown" and found.note == BELOW


@pytest.fixture(scope="module")
def offsets(tmp_path_factory):
    """Logs that rest at +60, -60 and 0 mV on the left."""
    folder = tmp_path_factory.mktemp("offsets")
    for name, level in (("plus", 0.06), ("minus", -0.06), ("zero", 1e-6)):
        simulate_log("settled-offset", hours=0.5, rate_hz=1.0, seed=8, offset_V=level).write(folder / f"{name}.csv")
    return folder


CASE = """[channels.left]
column = "left"
polarity = {polarity}
factor = {factor}
[channels.right]
column = "right"
[meter]
accuracy_V = {accuracy}
[[logs]]
file = "{one}.csv"
stage = "as received"
[[logs]]
file = "{two}.csv"
stage = "part replaced"
"""


@pytest.mark.parametrize(
    ("two", "polarity", "factor", "accuracy", "answer", "why"),
    [
        ("zero", 1, 1.0, 0.0005, "less", ""),
        ("zero", -1, 1.0, 0.0005, "less", ""),
        ("zero", 1, 1.0, 0.030, "not shown", "accuracy of both"),
        ("zero", 1, 10.0, 0.030, "not shown", "accuracy of both"),
        ("minus", 1, 1.0, 0.0005, "not shown", "just reversed"),
        ("minus", -1, 0.5, 0.0, "not shown", "just reversed"),
    ],
)
def test_it_holds_for_the_command_the_document_and_the_page(
    offsets, capsys, undrawn, two, polarity, factor, accuracy, answer, why, tmp_path
):
    path = offsets / f"case_{tmp_path.name}.toml"
    path.write_text(CASE.format(polarity=polarity, factor=factor, accuracy=accuracy, one="plus", two=two))
    page = tmp_path / "page.html"
    logs = ["--before", str(offsets / "plus.csv"), "--after", str(offsets / f"{two}.csv")]
    documents = []
    ways = [[], logs, ["--stage", "as received", logs[1], "--stage", "part replaced", logs[3]]]
    for given_logs in ways if polarity * factor == 1.0 else ways[1:2]:
        asked = ["--report", str(page)] if given_logs == logs else []
        assert main(["compare", "--case", str(path), *given_logs, "--json", *asked]) == 0
        document = json.loads(capsys.readouterr().out)
        documents.append(document.get("whole", document))
    told = page.read_text(encoding="utf-8").split("<script")[0]
    assert ("meter or leads" in told) == bool(why)
    for document in documents:
        left = document["channels"][0]
        assert left["level_shift_V"]["answer"] == answer
        assert left["outcome"] == (IMPROVED if answer == "less" else NO_CHANGE) and left["cured"] != "shown"
        assert why in left["reads"] and ("meter or leads" in left["reads"]) == bool(why)


@pytest.mark.parametrize(
    ("levels", "off", "holds"),
    [
        ([0.0, 0.01, 0.02, 0.03, 0.04, 0.05], 0.0, True),
        ([0.0, 0.01, 0.02, 0.03, 0.04, 0.05], 0.04, False),  # 50 mV by meters that are 40 mV off together, limit 20 mV
        ([0.060, 0.0601, 0.0599, -0.0602, -0.0601, -0.06], 0.0, False),  # the leads were turned on the way
        ([0.06, 0.04, 0.02, -0.02, -0.04, -0.06], 0.0, True),  # moved through zero
    ],
)
def test_power_ups_of_one_stage_keep_to_it_too(levels, off, holds):
    record = resting(levels)
    record.cycle, record.power_ups = tuple(range(len(levels))), [[k] for k in range(len(levels))]
    found = run_to_run(record, LIMITS, off)
    assert found.holds == holds and ("meter or leads" in found.reads) == (not holds)


# ---------------------------------------------------------------- conditions


@pytest.mark.parametrize(
    ("key", "one", "two", "apart"),
    [
        ("lid", "open", "closed", True),
        ("lid", "open", " Open ", False),
        ("source", "shorted", "music", True),
        ("load", "none", "8 ohm", True),
        ("measured_at", "amplifier side", "speaker side", True),
        ("integration", "20 ms", "200 ms", True),
        ("interval", "1 s", "10 s", True),
        ("range", "4 V", "40 V", True),
        ("room", "cold", "warm", False),
    ],
)
def test_unlike_conditions_are_not_comparable_step_by_step(key, one, two, apart):
    logs = tuple(
        CaseLog(f"{name}.csv", f"{name}.csv", name, conditions=((key, value),))
        for name, value in (("a", one), ("b", two), ("c", one))
    )
    before, after = (
        list(simulate_log(kind, hours=1, rate_hz=1.0, seed=3, **options).logs)
        for kind, options in (("noisy", {"rate_per_h": 60.0}), ("steady", {}))
    )
    named = {}
    for name, made in (("a", before), ("b", after), ("c", after)):
        for log in made:
            named.setdefault(name, assess([_renamed(log, f"{name}.csv")]))
    found = compare_stages(named, case=case_of(logs=logs))
    left = found.steps[0].channel("left")
    assert bool(found.steps[0].unlike) == apart
    assert (left.outcome == NO_CHANGE) == apart == bool(left.not_comparable)
    if apart:
        assert (
            left.cured == "not yet" and left.clean_hours_needed is None and "Not comparable: a was logged" in left.reads
        )
        assert left.noise_ratio.answer == left.level_shift_V.answer == "not shown"
    assert not found.whole.unlike and found.whole.channel("left").outcome == IMPROVED  # the last against the first
    assert ("no single step shows it" in found.credits[0].reads) == apart


def _renamed(log, name):
    log.source.name = name
    return log


def test_meters_that_differ_are_not_comparable_and_say_in_what():
    meters_ = (Meter("slow", integration_s=0.2, range_V=4.0),)
    logs = (CaseLog("a.csv", "a.csv", "a"), CaseLog("b.csv", "b.csv", "b", meter="slow"))
    case = case_of(meter=Meter("quick", integration_s=0.02, range_V=4.0), meters=meters_, logs=logs)
    from flicker.evidence.compare.alike import unlike

    told = unlike(case, ("a", "b"), (["a.csv"], ["b.csv"]))
    assert told[0] == "not comparable: a was logged with the meter quick, b with slow"
    assert told[1] == "not comparable: a was read with an integration of 0.02 s, b with an integration of 0.2 s"
    assert unlike(case, ("a", "a"), (["a.csv"], ["a.csv"])) == () == unlike(None, ("a", "b"), ([], []))


# ---------------------------------------------------------------- a counter that saturates, over stages

TRUE_PER_H = (60, 360, 900, 1800)
SEEN_PER_H = (51, 132, 74, 12)  # project page of statistical facts: with a dead time of 10 s, seen by simulation there


def saturated(rng, per_hour, hours=4.0, length_s=0.1, dead_s=10.0):
    times = np.sort(rng.uniform(0.0, hours * HOUR, rng.poisson(per_hour * hours)))
    first = times[np.concatenate(([True], np.diff(times) > dead_s))]
    made = side([(hours, first / HOUR)])
    spans = np.column_stack((times, np.minimum(times + length_s, hours * HOUR)))
    return replace(made, cycles=(replace(made.cycles[0], excursions=spans, excursion_V=np.full(times.size, 0.2)),))


def test_the_counter_saturates_as_the_dead_time_says():
    rng = np.random.default_rng(11)
    for true, seen in zip(TRUE_PER_H, SEEN_PER_H, strict=True):
        assert true * math.exp(-true * 10.0 / 3600.0) == pytest.approx(seen, abs=1.0)  # paralysable counter, Poisson
        assert saturated(rng, true, 40.0).episodes / 40.0 == pytest.approx(seen, rel=0.1)


def test_no_cure_reads_worse_and_no_worsening_improved_however_the_counter_saturates():
    rng = np.random.default_rng(12)
    for turn in range(4):
        made = [saturated(rng, rate) for rate in TRUE_PER_H]
        pairs = [(i, j) for i in range(4) for j in range(4) if i != j]
        for (i, j), item in zip(pairs, weigh([(made[i], made[j]) for i, j in pairs]), strict=True):
            wrong = WORSE if TRUE_PER_H[j] < TRUE_PER_H[i] else IMPROVED
            assert item.outcome != wrong, (turn, TRUE_PER_H[i], TRUE_PER_H[j])
            if max(item.shares) > 0.1:
                assert item.leads == "occupied windows"
    clean = weigh([(saturated(rng, 1800), side([(4.0, [])]))])[0]
    assert clean.outcome == IMPROVED


def test_stages_of_whole_logs_that_saturate_the_counter():
    names = {"as received": 1800.0, "reseated only": 900.0, "part replaced": 60.0}
    made = {
        name: assess(
            list(
                simulate_log("noisy", hours=1.0, rate_hz=2.0, seed=int(rate), rate_per_h=rate, length_s=(0.5, 0.5)).logs
            )
        )
        for name, rate in names.items()
    }
    assert made["part replaced"].channels[0].rate.episodes > made["as received"].channels[0].rate.episodes
    for stages, wrong in ((made, WORSE), (dict(reversed(made.items())), IMPROVED)):
        found = compare_stages(stages)
        left = [step.channel("left") for step in (*found.steps, found.whole)]
        assert all(item.outcome != wrong and item.aspect == "occupied windows" for item in left)
        assert all(item.cured != "shown" for item in left)
        assert any("log a second" in item.reads or "log a second" in text for item in left for text in found.cautions)


def test_a_coarser_threshold_after_takes_the_small_excursions_out_on_both_sides():
    rng = np.random.default_rng(13)
    before = saturated(rng, 900)
    small = replace(
        before, cycles=tuple(replace(c, excursion_V=np.full(len(c.excursions), 0.05)) for c in before.cycles)
    )
    after = replace(side([(4.0, [])]), enter_V=0.1)
    item = weigh([(small, after)])[0]
    assert item.shares == (0.0, 0.0) and item.leads == "episodes"


# ---------------------------------------------------------------- conditions that change by themselves, and credit


def test_a_warm_soak_after_cold_starts_is_no_cure():
    before = side([(1.0, [0.02, 0.1])] * 6)
    warm = side([(1.0, [])] * 6, start="warm")
    item = weigh([(before, warm)])[0]
    assert item.outcome == NO_CHANGE and item.barred and "never saw the unit at the same time" in item.notes[0].text


def steps_of(sides):
    """Comparisons of stages, as the credit sees them."""
    names = list(sides)
    pairs = [*itertools.pairwise(names), (names[0], names[-1])]
    found = weigh([(sides[a], sides[b]) for a, b in pairs])
    made = [
        SimpleNamespace(before=a, after=b, channels=(SimpleNamespace(channel="left", outcome=item.outcome),))
        for (a, b), item in zip(pairs, found, strict=True)
    ]
    return made[:-1], made[-1]


def test_a_part_swap_that_did_nothing_is_not_credited():
    rng = np.random.default_rng(14)
    names = ("as received", "reseated only", "part replaced")
    credited = shown_at_all = 0
    for _ in range(40):  # the reseating cured it
        made = (drawn(rng, [2.0] * 3, 6.0), drawn(rng, [2.0] * 3, 0.0), drawn(rng, [2.0] * 3, 0.0))
        found = credits_of(*steps_of(dict(zip(names, made, strict=True))), work_of(names, None))
        credited += any(item.changed for item in found)
        shown_at_all += any(item.stage == "reseated only" and item.changed is False for item in found)
    assert credited == 0 and shown_at_all >= 36
    for _ in range(40):  # the reseating was logged too briefly to tell, the part did nothing
        made = (drawn(rng, [2.0] * 3, 6.0), drawn(rng, [0.1], 0.0), drawn(rng, [2.0] * 3, 0.0))
        credited += any(
            item.changed for item in credits_of(*steps_of(dict(zip(names, made, strict=True))), work_of(names, None))
        )
    assert credited == 0


def test_the_part_is_credited_where_its_own_step_shows_it():
    rng = np.random.default_rng(15)
    names = ("as received", "reseated only", "part replaced")
    made = (drawn(rng, [2.0] * 3, 6.0), drawn(rng, [2.0] * 3, 6.0), drawn(rng, [2.0] * 3, 0.0))
    (credit,) = credits_of(*steps_of(dict(zip(names, made, strict=True))), work_of(names, None))
    assert credit.changed and credit.controlled and "not with 'reseated only' before it" in credit.reads
    two = ("as received", "part replaced")
    (alone,) = credits_of(*steps_of(dict(zip(two, made[::2], strict=True))), work_of(two, None))
    assert alone.changed and not alone.controlled and "cannot be told apart" in alone.reads
    told = work_of(("x",), case_of(logs=(CaseLog("a", "a", "x"),), parts=(Part("plugs reseated", "x", changed=False),)))
    assert told["x"].changed is False


# ---------------------------------------------------------------- jobs, a small version of tests/studies/study_jobs.py


@pytest.fixture(scope="module")
def jobs():
    sys.path.insert(0, str(Path(__file__).parent / "studies"))
    import study_jobs

    return study_jobs


def test_no_job_in_which_only_the_conditions_changed_is_cured(jobs):
    # 2,000 jobs a row stand in tests/studies/results/jobs.md (at most 0.95 %); 15 jobs a row here, nine rows, two rates
    # of concern. At a true 5 % six or more of 135 jobs would be wrong with a chance of 67 %, at 1 % of 0.3 % (binomial).
    rng = np.random.default_rng(16)
    found = [jobs.false_cures(rng, make, 15)[1] for make in jobs.unchanged().values()]
    assert all(sum(row[name] for row in found) <= 5 for name in jobs.CONCERN)


def test_a_true_cure_is_shown_within_1_3_times_the_plan(jobs):
    rng = np.random.default_rng(17)
    make, run_h = jobs.TRUE["1 per hour over 8 h"]
    # 98.5 % of 2,000 in the study; 20 of 25 are asked (80 %)
    assert jobs.true_cure(rng, make, run_h, 2.0 / 3.0, 25) >= 20


# ---------------------------------------------------------------- how fast the readings follow


def glitching(rng, hours, *, filter_s=None, glitches=True):
    """An evening from switch-on, a reading a second: white noise of 0.3 mV, 20 swings an hour of 3 s and 0.25 V. Invented."""
    t = np.arange(0.0, hours * HOUR)
    left, right = (rest + 3e-4 * rng.standard_normal(t.size) + 0.15 * np.exp(-t / 2.0) for rest in (4e-3, -5e-3))
    for at in rng.uniform(600.0, t[-1], rng.poisson(20 * hours) if glitches else 0):
        left[(t >= at) & (t < at + 3.0)] += 0.25
    if filter_s is not None:  # one pole, as a meter's filter
        keep = math.exp(-1.0 / filter_s)
        left, right = (lfilter([1.0 - keep], [1.0, -keep], x, zi=[keep * x[0]])[0] for x in (left, right))
    return Log.from_arrays(t, {"left": left, "right": right})


def test_a_filter_switched_on_is_no_repair():
    rng = np.random.default_rng(20261127)
    before = [glitching(rng, 1.5) for _ in range(3)]
    found = compare(before, [glitching(rng, 1.5, filter_s=30.0) for _ in range(3)]).channel("left")
    assert found.outcome == NO_CHANGE and found.cured != "shown"
    assert any("follow the output" in text for text in found.not_comparable), found.comparable
    mended = compare(before, [glitching(rng, 1.5, glitches=False) for _ in range(3)]).channel("left")
    assert mended.outcome == IMPROVED


def test_pauses_that_the_swings_make_are_no_growth():
    """A logger that writes only while something happens: ten seconds about each swing, and these come closer together."""
    rng = np.random.default_rng(7)
    t = np.arange(0.0, 4 * HOUR)
    at = np.sort(np.concatenate((rng.uniform(0, 2 * HOUR, 15), rng.uniform(2 * HOUR, 4 * HOUR, 60))))
    v = 4e-3 + 3e-4 * rng.standard_normal(t.size)
    kept = t < 60
    for begin in at:
        v[(t >= begin) & (t < begin + 2.0)] += 0.3
        kept |= (t >= begin - 10.0) & (t < begin + 10.0)
    whole, parts = (assess(Log.from_arrays(t[rows], {"left": v[rows]})).channels[0] for rows in (t >= 0, kept))
    assert whole.finding("more often").answer == "yes"
    assert parts.finding("more often").answer == "not shown"


def looked_at_every(rng, interval_s, part, short_s, per_h=10.0, power_ups=20):
    """Power-ups of 4 h; so many swings per hour, a part of them ``short_s`` long, as readings so far apart see them (instant ones)."""
    made = []
    for _ in range(power_ups):
        times = np.sort(rng.uniform(0.0, 4.0, rng.poisson(4.0 * per_h)))
        lasts_s = np.where(rng.uniform(size=times.size) < part, short_s, 2.5)
        seen = rng.uniform(size=times.size) < lasts_s / interval_s
        spans = np.column_stack((HOUR * times[seen], HOUR * times[seen] + np.maximum(lasts_s[seen], interval_s)))
        one = side([(4.0, times[seen])])
        made.append(replace(one.cycles[0], excursions=spans, excursion_V=np.full(len(spans), 0.2)))
    return replace(one, sample_interval_s=interval_s, cycles=tuple(made))


@pytest.mark.parametrize("part", [0.2, 0.3])
def test_a_slower_pace_alone_is_no_improvement(part):
    # as many as a test at 2.5 % may show by chance among 40 units (invented); without the bound 7 with a fifth of short swings
    rng = np.random.default_rng(int(100 * part))
    found = [weigh([(looked_at_every(rng, 0.25, part, 0.1), looked_at_every(rng, 1.0, part, 0.1))])[0] for _ in range(40)]
    assert sum(item.outcome == IMPROVED for item in found) <= binom.ppf(0.99, 40, 0.025)
    cured = weigh([(looked_at_every(rng, 0.25, part, 0.1), looked_at_every(rng, 1.0, part, 0.1, per_h=1.0))])[0]
    assert cured.outcome == IMPROVED


# ---------------------------------------------------------------- what else could have made a change


@pytest.mark.study
def test_ordinary_rooms_hold_back_few_repairs_and_another_gain_is_told():
    # results/alike.md, on draws of its own: 3 of 200 held back at the most there, of gains by a half 87 to 96 of 100 told
    sys.path.insert(0, str(Path(__file__).parent / "studies"))
    import study_alike as study

    rng = np.random.default_rng(480002)
    rooms = {name: case for name, case in study.REPAIRED.items() if case[0] == 0.0 and case[5] == 3}
    for name, alone, kept in study.warmth(rng, rooms, 200):
        assert kept >= alone - 7.5, name
    cold = {name: case for name, case in study.NOTHING.items() if case[0] == 10.0}
    assert all(kept <= 2.5 < 50 < alone for _, alone, kept in study.warmth(rng, cold, 200))
    told = dict(study.gains(rng, study.GAINS, 200))
    assert all(share == 0.0 for name, share in told.items() if name.startswith("gain 1,"))
    assert all(share <= 5.0 for name, share in told.items() if name.startswith("repaired"))  # some 1 of 100; 9 of 200 are left to chance
    assert told["gain 0.5, 2 channels, digit with it"] >= 85.0
