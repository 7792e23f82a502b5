"""Visits months apart: growth of the rate, levels against the meter, forecasts, and what a single visit may not say.

Benches are simulated (invented units with known truth); regressions are held against a reference library and closed forms.
"""

from __future__ import annotations

import datetime as dt
import json
import math
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from scipy import special, stats
from test_schema import loads, validate

from flicker import Limits, Log, simulate_log
from flicker.case.case_file import Meter, read_case
from flicker.cli import main
from flicker.evidence.outlook.protection import trip_forecast
from flicker.evidence.visits.levels import answer_of, level_forecast, quantity_trend
from flicker.evidence.visits.over_visits import over_visits
from flicker.evidence.visits.visited import visits_of_case
from flicker.stats.arrivals import age_forecast


def runs_of(counts, hours=2.0, seed=5):
    rng = np.random.default_rng(seed)
    return [np.sort(rng.random(n) * hours) for n in counts], [hours] * len(counts)


# --- forecast ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("burst", "spread"), [(1, 0.0), (3, 0.0), (1, 0.3)])
def test_a_forecast_covers_the_count(burst, spread):
    # 4 visits of 2 runs, growth 0.4 a visit; single episodes, bursts of 3, runs that differ (gamma, variance 0.3).
    # 25 draws of each: fewer than 20 inside has a chance of 0.1 % at the nominal 95 % (binomial); the recorded study
    # (results/visits.md) has 2,000.
    rng = np.random.default_rng(3)
    ahead = 0
    for _ in range(25):
        times, ages = [], []
        for visit in range(5):
            for _ in range(2):
                mean = 6.0 * math.exp(0.4 * visit) * (rng.gamma(1 / spread, spread) if spread else 1.0)
                begin = rng.random(rng.poisson(mean / burst)) * 2.0
                sizes = rng.geometric(1 / burst, begin.size)
                t = np.concatenate(
                    [b + np.cumsum(rng.exponential(0.006, n)) for b, n in zip(begin, sizes, strict=True)] or [[]]
                )
                times.append(np.sort(t[t < 2.0]))
                ages.append(visit)
        told = age_forecast(times[:8], [2.0] * 8, ages[:8], at=4.0, planned_ends=[2.0, 2.0])
        ahead += told.low <= times[8].size + times[9].size <= told.high
        if ahead >= 20:
            return  # decided, whatever the rest says
    pytest.fail(f"{ahead} of 25 inside")


def test_all_episodes_in_the_last_run_give_a_forecast_without_a_narrow_end():
    # nothing bounds the growth from above but the prior: the range says so by its width, twelvefold and more either way
    n = 8
    forecast = age_forecast([[], np.linspace(0.1, 1.9, n)], [2.0, 2.0], [0.0, 1.0], at=2.0, planned_ends=[2.0])
    assert forecast.high > 12 * n and forecast.low <= n


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: age_forecast([[1.0], [2.0]], [3, 3], [0, 1], at=2, planned_ends=[4]), "up to the longest run seen"),
        (lambda: over_visits([]), "at least one visit"),
        (lambda: over_visits([(None, [])]), "one or more logs"),
    ],
)
def test_wrong_arguments_are_told(call, words):
    with pytest.raises(ValueError, match=words):
        call()


# --- a unit over visits -----------------------------------------------------------------------------------------------

DATES = [dt.date(2031, 3, 2), dt.date(2031, 6, 2), dt.date(2031, 9, 2), dt.date(2031, 12, 2)]


@cache
def visits_at(rates, *, seed=40, **more):
    return [
        (date, list(simulate_log("noisy", hours=1.0, runs=2, seed=seed + k, unit=7, rate_per_h=rate, **more).logs))
        for k, (date, rate) in enumerate(zip(DATES, rates, strict=False))
    ]


def test_a_unit_that_gets_worse_and_one_that_does_not():
    worse = over_visits(visits_at((2, 5, 12, 24)))
    left, right = worse.channel("left"), worse.channel("right")
    assert left.rate.answer == "worse" and "more often from visit to visit" in left.reads
    assert left.rate.low_per_visit < (24 / 2) ** (1 / 3) < left.rate.high_per_visit
    per_visit_days = (DATES[3] - DATES[0]).days / 3
    assert left.rate.per_year == pytest.approx(left.rate.per_visit ** (365.25 / per_visit_days), rel=1e-9)
    # the true rate grows 12-fold over three steps: 12^(1/3) times 24 an hour in 2 hours are to be expected next
    assert left.forecast.low < 2 * 24 * 12 ** (1 / 3) < left.forecast.high
    assert "nothing but another visit" in left.forecast_reads
    assert left.rate.holds_up_to_scatter > left.rate.scatter and "differ by themselves" in left.rate.reads
    assert left.concern.reached and "is reached already" in left.concern.reads and right.concern is None
    assert right.rate.answer == "not shown" and "never jumped" in right.reads and right.year is None
    even = over_visits(visits_at((8, 8, 8, 8), seed=60))
    assert even.channel("left").rate.answer == "not shown"
    assert json.loads(json.dumps(even.to_dict(), allow_nan=False))["schema"] == "flicker/visits/2"


def test_the_visit_at_which_the_rate_of_concern_is_reached():
    # rates of 2, 5, 12, 24 an hour, doubling and more at each visit, with a concern of 200 an hour: two visits ahead by the
    # true line (24 * 12^(2/3) = 126, 24 * 12 = 288 three ahead), and no farther ahead is told than three visits
    worse = over_visits(visits_at((2, 5, 12, 24)), Limits(episode_rate_per_h=200.0)).channel("left").concern
    assert not worse.reached and worse.watched_age == pytest.approx(2 * (DATES[3] - DATES[0]).days)
    assert (DATES[3] - DATES[0]).days < worse.age < worse.watched_age and worse.low_age < worse.age
    assert "days after the last visit" in worse.reads
    far = over_visits(visits_at((2, 5, 12, 24)), Limits(episode_rate_per_h=5000.0)).channel("left").concern
    assert far.age is None and "no farther ahead is told than was watched" in far.reads


def test_a_counter_that_saturates_does_not_turn_growth_into_a_cure():
    # statistics page of the project: with a dead time of 10 s, true rates 60, 360, 900, 1,800 per hour are counted as 51,
    # 132, 74, 12; the share of occupied windows rises all the way. Swings of a second at even chance, an hour a visit.
    rng, visits = np.random.default_rng(3), []
    for date, rate in zip(DATES, (60, 360, 900, 1800), strict=True):
        when = np.arange(7200) * 0.5
        volts = 0.004 + 0.0005 * rng.normal(size=when.size) + 0.08 * np.exp(-when / 5.0)
        for at in rng.uniform(60.0, 3580.0, rng.poisson(rate)):
            volts[(when >= at) & (when < at + 1.0)] += 0.12
        visits.append((date, [Log.from_arrays(when, {"left": volts}, name=str(date))]))
    left = over_visits(visits).channel("left")
    assert left.visits[-1].episodes < left.visits[1].episodes  # the plain count falls
    assert left.rate.answer == "worse" and left.rate.overall == pytest.approx(30.0, rel=0.6)
    assert "occupied windows" in left.rate.method and left.forecast is None and left.concern is None


@pytest.mark.parametrize("kind", ["degrading-visits", "heat"])
def test_age_is_told_from_heat(kind):
    # degrading-visits: the rate grows 1.8-fold from power-up to power-up, evenly within each; heat: alike in each.
    logs = simulate_log(kind, seed=11, runs=5).logs
    day = dt.date(2031, 1, 1)
    found = over_visits([(day + dt.timedelta(days=60 * k), [log]) for k, log in enumerate(logs)]).channel("left").rate
    if kind == "heat":
        assert found.answer == "not shown"
    else:
        assert found.answer == "worse" and found.low_per_visit < 1.8 < found.high_per_visit


def test_two_visits_show_a_difference_and_no_pace():
    left = over_visits(visits_at((1, 40))).channel("left")
    assert left.rate.answer == "worse" and "more often at the second visit" in left.reads
    # how far visits differ cannot be told from two, nor what a year brings
    assert "which two cannot tell" in left.reads and "At that pace" not in left.reads and "Visits differ" not in left.reads


def test_one_visit_says_what_it_cannot_say():
    found = over_visits(visits_at((6,))).channel("left")
    assert found.rate.answer == "not shown" and found.forecast is None and found.levels == ()
    assert "heat, wear and chance cannot be told apart" in found.reads


def test_the_year_ahead_follows_the_tail_and_says_how_far_it_reaches():
    found = over_visits(visits_at((2, 5, 12), size_V=(0.5, 1.5))).channel("left")
    assert found.year.hours == pytest.approx(365.25 * 3) and found.year.low > 0.9
    assert "times what was observed" in found.year_reads and "as it gets worse" in found.year_reads
    # a chance that cannot be told is not said to be higher than something
    untold = over_visits(visits_at((2, 5, 12), size_V=(0.1, 0.3))).channel("left").year_reads
    assert "cannot be told from so few hours" in untold and "times what was observed" in untold and "the true chance" not in untold


@pytest.mark.parametrize(
    ("first", "last", "accuracy", "answer", "words"),
    [
        (0.008, 0.060, 0.002, "yes", "moved by"),
        (0.008, 0.010, 0.002, "no", "stayed within"),
        (0.008, 0.038, 0.020, "not shown", "meter or leads"),
        (0.030, -0.030, 0.002, "not shown", "sign is just reversed"),
    ],
)
def test_a_level_is_set_against_the_meter(tmp_path, first, last, accuracy, answer, words):
    # Rule of the bench: a difference below both accuracies, or a reversed sign, is 'not shown: meter or leads'.
    for k, level in enumerate((first, last)):
        simulate_log("steady", hours=0.4, runs=2, seed=k, settled_V=level).write(tmp_path / f"v{k}.csv")
    path = tmp_path / "case.toml"
    path.write_text(
        f"[meter]\naccuracy_V = {accuracy}\n"
        + "".join(f'[[logs]]\nfile = "v{k}.csv"\ndate = 2031-0{2 + 5 * k}-01\n' for k in range(2))
    )
    case = read_case(path)
    visits, stages = visits_of_case(case)
    result = over_visits(visits, case=case, stages=stages)
    level = result.channel("left").levels[0]
    assert (level.quantity, level.answer) == ("settled level", answer) and words in level.reads
    assert not any("accuracy is not recorded" in text for text in result.cautions)


def test_small_moves_and_reversed_signs_are_never_found():
    # Exhaustive: below both accuracies, or the sign just reversed, no pair of readings is a finding.
    meter = Meter(accuracy_V=0.001, accuracy_percent=1.0)
    for first in np.linspace(-0.2, 0.2, 41):
        for move in (0.0, 0.3, 0.99):
            off = meter.off_by_V(first) + meter.off_by_V(first)
            last = first + move * off
            assert answer_of(first, last, off, 0.0, True, 0.0)[0] != "yes"
        off = 2 * meter.off_by_V(first)
        assert answer_of(first, -first, off, 0.0, True, 0.0)[0] != "yes"


@pytest.mark.parametrize("ages", [(0, 98, 196), (0, 30, 98, 260), (0, 1, 2, 3, 4, 7)])
def test_the_level_forecast_is_that_of_a_regression(ages):
    # Reference: statsmodels OLS, prediction interval of a new observation, and the interval of the slope.
    import statsmodels.api as sm

    levels = np.random.default_rng(6).normal(0.01, 0.002, len(ages)) + 1e-4 * np.array(ages)
    found = level_forecast(levels, ages, at=300.0, step=98.0, confidence=0.9)
    fit = sm.OLS(levels, sm.add_constant(np.array(ages, dtype=float))).fit()
    table = fit.get_prediction([[1.0, 300.0]]).summary_frame(alpha=0.1)
    told = [found.expected_V, found.low_V, found.high_V]
    assert told == pytest.approx(table[["mean", "obs_ci_lower", "obs_ci_upper"]].to_numpy()[0].tolist(), rel=1e-9)
    assert [found.slope_low_V, found.slope_high_V] == pytest.approx((98.0 * fit.conf_int(0.1)[1]).tolist(), rel=1e-9)


def test_the_level_forecast_covers_the_next_visit():
    # Simulated units: 5 mV from visit to visit, scatter 2 mV at each; four visits seen, the fifth foretold. 24 units,
    # nominal 95 %: fewer than 20 inside has a chance of 0.6 % (binomial).
    inside = 0
    for seed in range(24):
        bench = simulate_log(
            "ageing",
            seed=seed,
            runs=5,
            power_ups=1,
            hours=0.1,
            rate_hz=1,
            level_V=0.005,
            scatter_V=0.002,
            first_per_h=1e-6,
        )
        visits = [(date, list(part.logs)) for date, part in bench.visits()]
        found = over_visits(visits[:4]).channel("left").level_forecast
        assert found.visits == 4 and found.age == pytest.approx(4 * 98)
        inside += found.low_V <= bench.truth.runs[4]["left"].settled_V <= found.high_V
        if inside >= 20:
            return  # decided, whatever the rest says
    pytest.fail(f"{inside} of 24 inside")


@pytest.mark.parametrize(
    ("levels", "words"),
    [
        ((0.004, 0.0041, 0.0042), "All of it is within the limit of 50 mV"),
        ((0.020, 0.028, 0.043), "A part of it is beyond the limit"),
        ((0.080, 0.1, 0.12), "All of it is beyond the limit"),
        ((0.004, 0.010), "a line goes through any two"),
    ],
)
def test_the_level_forecast_in_words(levels, words):
    visits = [
        (date, list(simulate_log("steady", hours=0.2, rate_hz=1, seed=k, settled_V=level).logs))
        for k, (date, level) in enumerate(zip(DATES, levels, strict=False))
    ]
    assert words in over_visits(visits).channel("left").level_reads


def test_the_year_ahead_from_few_peaks_is_the_exact_bound():
    # Closed form: k trips in 40 h; the one-sided 95 % limit of their mean is the chi-square quantile with 2 k + 2 degrees
    # of freedom over two (Garwood 1936), and 200 h at that rate hold a trip with 1 - exp(-5 x limit).
    for k in (0, 1, 3):
        told = trip_forecast([0.1, 0.2, 0.3] + [2.0] * k, 40.0, trip_V=0.75, threshold_V=0.06, hours=200.0)
        limit = special.gammaincinv(k + 1, 0.95)
        assert told.bound == "upper" and told.high == pytest.approx(1.0 - math.exp(-5.0 * limit), rel=1e-9)


def test_the_year_ahead_from_many_peaks_covers_the_truth():
    # Invented: 40 h seen, 200 h ahead, 4 exponential peaks per hour, 0.002 per hour beyond the threshold. Nominal 95 %;
    # fewer than 25 of 30 inside has a chance of 0.3 % (binomial).
    rng = np.random.default_rng(12)
    truth, inside = 1.0 - math.exp(-200.0 * 0.002), 0
    for _ in range(30):
        peaks = 0.06 + rng.exponential(0.69 / math.log(4.0 / 0.002), rng.poisson(160))
        told = trip_forecast(peaks, 40.0, trip_V=0.75, threshold_V=0.06, hours=200.0)
        inside += told.low <= truth <= told.high
        if inside >= 25:
            return  # decided, whatever the rest says
    pytest.fail(f"{inside} of 30 inside")


@pytest.mark.parametrize("growth", [2.2, 1.0])
def test_simulated_ageing_is_found_and_sameness_is_not(growth):
    # What was put in lies within the interval; where nothing was put in, nothing is claimed.
    bench = simulate_log("ageing", seed=4, runs=8, growth=growth, first_per_h=5.0, rate_hz=1)
    found = over_visits([(date, list(part.logs)) for date, part in bench.visits()]).channel("left").rate
    assert found.low_per_visit < growth < found.high_per_visit
    assert found.answer == ("worse" if growth > 1 else "not shown")


def test_a_case_is_grouped_by_date_or_by_stage(tmp_path):
    for k in range(3):
        (tmp_path / f"{k}.csv").write_text("time_s,left_mV\n" + "".join(f"{j},{j % 3}\n" for j in range(40)))
    path = tmp_path / "case.toml"
    dates = ("2031-06-02", "2031-01-03", "2031-01-05")
    stages = ("soak", "as received", "soak")
    path.write_text(
        "".join(f'[[logs]]\nfile = "{k}.csv"\ndate = {dates[k]}\nstage = "{stages[k]}"\n' for k in range(3))
    )
    case = read_case(path)
    visits, names = visits_of_case(case)
    assert [len(logs) for _, logs in visits] == [2, 1] and names == [["as received", "soak"], ["soak"]]
    assert visits[0][0] == dt.date(2031, 1, 3)
    assert [len(logs) for _, logs in visits_of_case(case, apart_days=1)[0]] == [1, 1, 1]
    assert [len(logs) for _, logs in visits_of_case(case, by="stage")[0]] == [2, 1]
    path.write_text('[[logs]]\nfile = "0.csv"\n')
    with pytest.raises(ValueError, match="has no date; add one, or group by stage"):
        visits_of_case(read_case(path))


def test_from_the_command_line(tmp_path, capsys):
    words = []
    for k, (date, rate) in enumerate(zip(DATES, (2, 8, 20), strict=False)):
        path = tmp_path / f"v{k}.csv"
        simulate_log("noisy", hours=0.7, runs=2, seed=70 + k, unit=7, rate_per_h=rate).write(path)
        words += ["--visit", date.isoformat(), str(path)]
    assert main(["visits", *words, "--json"]) == 0
    document = validate(loads(capsys.readouterr().out))
    assert document["channels"][0]["rate"]["answer"] == "worse" and len(document["visits"]) == 3
    assert main(["visits", *words]) == 0
    page = capsys.readouterr().out
    assert "2031-03-02" in page and "more often from visit" in " ".join(page.split())
    assert main(["visits", *words[:3], "--json"]) == 0
    validate(loads(capsys.readouterr().out))


def test_the_demo_visits(capsys):
    # Invented unit; the rates put in are 4, 10 and 26 per hour (tests/studies/make_demo_data.py).
    folder = Path(__file__).parent.parent / "demo_data"
    assert main(["visits", "--case", str(folder / "m22_case.toml"), "--json"]) == 0
    document = validate(loads(capsys.readouterr().out))
    left, right = document["channels"]
    assert left["rate"]["answer"] == "worse" and left["rate"]["low_per_visit"] < (26 / 4) ** 0.5
    assert left["rate"]["high_per_visit"] > (26 / 4) ** 0.5 and document["hours_per_year"] == 2 * 365.25
    assert [row["answer"] for row in left["levels"]] == ["no", "no", "no"]
    assert right["rate"]["answer"] == "not shown" and "never jumped" in right["reads"]
    assert [visit["date"] for visit in document["visits"]] == ["2031-03-04", "2031-06-10", "2031-09-16"]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ([], "give the logs, a case with --case, or each visit"),
        (["a.csv", "--visit", "2031-03-09", "b.csv"], "say to which visit a.csv belongs"),
        (["--visit", "spring", "a.csv"], "--visit takes a date such as 2031-03-09 first, got 'spring'"),
        (["--visit", "2031-03-09"], "names no log"),
        (["--visit", "2031-03-09", "a.csv", "--hours-per-day", "30"], "between 0 and 24"),
    ],
)
def test_wrong_usage_is_one_sentence(capsys, words, told):
    assert main(["visits", *words]) == 2
    err = capsys.readouterr().err
    assert told in err and err.count("\n") == 1


def test_logs_that_hold_their_dates_group_themselves_into_visits(capsys, tmp_path):
    # invented: two files of one evening, one of a month later, given out of order
    names = []
    for stamp in ("2031-04-09T19:00:00", "2031-03-04T19:00:00", "2031-03-04T21:00:00"):
        times = np.datetime64(stamp) + np.arange(1200).astype("timedelta64[s]")
        volts = 4.0 + 0.1 * np.random.default_rng(len(names)).normal(size=1200).round(1)
        path = tmp_path / f"log{len(names)}.csv"
        path.write_text("time,left_mV\n" + "\n".join(f"{t},{v:.1f}" for t, v in zip(times, volts, strict=True)) + "\n")
        names.append(str(path))
    assert main(["visits", *names, "--json"]) == 0
    visits = loads(capsys.readouterr().out)["visits"]
    assert [visit["date"][:10] for visit in visits] == ["2031-03-04", "2031-04-09"]
    assert main(["visits", *names, str(Path(__file__).parent.parent / "demo_data" / "m22_visit_1.csv")]) == 2
    assert "m22_visit_1.csv was recorded: --visit DATE LOG" in capsys.readouterr().err


def test_a_faster_logger_at_later_visits_feigns_no_growth():
    # invented: glitches of half a second, 60 an hour at every visit; a reading every 5 s shows one in ten of them
    rng = np.random.default_rng(6)

    def visited(steps):
        made = []
        for k, step in enumerate(steps):
            when = np.arange(0.0, 3600.0, step)
            volts = 0.004 + 0.0003 * rng.normal(size=when.size) + 0.08 * np.exp(-when / 5.0)
            for at in rng.uniform(60.0, 3580.0, 60):
                volts[(when >= at) & (when < at + 0.5)] += 0.15
            log = Log.from_arrays(when, {"left": volts}, name=f"visit {k}")
            made.append((dt.date(2031, 1, 1) + dt.timedelta(days=91 * k), [log]))
        return over_visits(made).channels[0].rate

    for steps in ((5.0, 5.0, 5.0, 0.5, 0.5, 0.5), (0.5, 0.5, 0.5, 5.0, 5.0, 5.0)):
        rate = visited(steps)
        assert rate.p_adjusted < 0.025 and rate.answer == "not shown"
        assert any("one pace" in text for text in rate.cautions) and "cannot be told" in rate.reads


def surges_said(draw, count=300):
    """How often a change of the surge is said."""
    return sum(quantity_trend("surge", draw(), 0.04, None, 1e-4, 0.05).answer == "yes" for _ in range(count)) / count


@pytest.mark.parametrize(("visits", "each"), [(2, 1), (3, 1), (6, 1), (2, 2), (6, 2)])
def test_surges_that_differ_by_themselves_are_no_change(visits, each):
    # Drawn by the test; of visits with one power-up each more than half were called changed when the spread within a visit decided.
    rng = np.random.default_rng([93, visits, each])
    assert surges_said(lambda: [np.clip(rng.normal(0, 0.05, each), -0.1, 0.1) for _ in range(visits)]) <= 0.05
    last = [0.06] * (visits - 1) + [0.30]
    if each > 1:
        assert surges_said(lambda: [rng.normal(middle, 0.02, each) for middle in last]) >= 0.95


def test_the_last_visit_is_set_against_the_first_with_a_moderated_t():
    # Two visits of one power-up: nothing but the prior (40 mV, three degrees of freedom) tells how surges differ; p by scipy.
    found = quantity_trend("surge", [np.array([0.06]), np.array([0.30])], 0.04, None, 0.0, 0.05)
    assert found.answer == "yes" and found.p_value == pytest.approx(2 * stats.t.sf(0.24 / (0.04 * math.sqrt(2)), 3))
    level = quantity_trend("settled level", [np.array([0.004]), np.array([0.034])], 0.02, None, 1e-4, 0.05)
    assert level.answer == "yes" and level.p_value == pytest.approx(2 * stats.t.sf(0.03 / (0.002 * math.sqrt(2)), 3))


def test_a_time_that_an_earlier_visit_logged_is_counted_once():
    # Two exports of one logger: the second begins within the first. By their clocks it is seen, and only with the same readings.
    rng = np.random.default_rng(3)
    when = np.arange(0.0, 5 * 3600.0, 2.0)
    volts = 0.004 + 0.08 * np.exp(-when / 5.0) + rng.normal(0.0, 3e-4, when.size)
    volts[rng.integers(600, when.size, 20)] += 0.2

    def cut(first_h, last_h, shift=0.0):
        part = slice(int(first_h * 1800), int(last_h * 1800))
        begin = dt.datetime(2031, 3, 1, 9) + dt.timedelta(hours=first_h)
        return Log.from_arrays(when[part] - when[part][0], {"left": volts[part] + shift}, name="log.csv", start=begin)

    days = dt.date(2031, 3, 1), dt.date(2031, 4, 1), dt.date(2031, 5, 1)
    found = over_visits([(days[0], [cut(0, 3)]), (days[1], [cut(2, 5)]), (days[2], [cut(0, 3)])])
    assert [round(item.observed_s / 3600) for item in found.channel("left").visits] == [3, 2]
    assert any("log.csv holds the same readings as log.csv for 1 hour" in text for text in found.cautions)
    assert any("log.csv holds the same readings as log.csv of visit 1" in text for text in found.cautions)
    other = over_visits([(days[0], [cut(0, 3)]), (days[1], [cut(2, 5, 0.01)])])  # a logger whose clock was set back
    assert [round(item.observed_s / 3600) for item in other.channel("left").visits] == [3, 3]
