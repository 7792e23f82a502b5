"""Charts: no swing is lost, captions are computed, colours stay apart for the colour-blind. All logs are invented."""

from __future__ import annotations

import datetime
import itertools
import json
import re
import time

import numpy as np
import pytest

import flicker
from flicker import Log, assess, simulate_log
from flicker.logs.model import Run
from flicker.present import charts, export, palette
from flicker.present.envelope import MOST_ROWS, envelope, logs_of_runs, window
from flicker.signals.blocks import ChannelBlocks, RunBlocks, reduce_log

# Full dichromacy in linear RGB: Machado, Oliveira and Fernandes 2009, IEEE Transactions on Visualization and Computer
# Graphics 15, 1291-1298, table for severity 1.0 (from memory; each row sums to 1, as white must stay white).
BLINDNESS = {
    "red": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "green": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "blue": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
    "none": np.eye(3).tolist(),
}


def linear(colour: str) -> np.ndarray:
    """IEC 61966-2-1 (sRGB) decoded to linear light."""
    part = np.array([int(colour[k : k + 2], 16) for k in (1, 3, 5)]) / 255.0
    return np.where(part <= 0.04045, part / 12.92, ((part + 0.055) / 1.055) ** 2.4)


def lab(rgb: np.ndarray) -> np.ndarray:
    """CIE 1976 L*a*b* of linear sRGB, D65."""
    to_xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    xyz = to_xyz @ np.clip(rgb, 0.0, 1.0) / np.array([0.9505, 1.0, 1.0890])
    f = np.where(xyz > (6 / 29) ** 3, np.cbrt(xyz), xyz / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def contrast(a: str, b: str) -> float:
    """Contrast ratio of WCAG 2.1 (W3C Recommendation 2018), definition of relative luminance."""
    light = sorted((0.2126, 0.7152, 0.0722) @ linear(colour) for colour in (a, b))
    return (light[1] + 0.05) / (light[0] + 0.05)


def test_own_arithmetic_of_colour():
    assert contrast("#ffffff", "#000000") == pytest.approx(21.0)  # WCAG 2.1: the largest possible ratio
    assert lab(linear("#ffffff")) == pytest.approx([100, 0, 0], abs=0.05)
    for kind in BLINDNESS.values():
        assert np.sum(kind, axis=1) == pytest.approx(np.ones(3), abs=2e-5)


@pytest.mark.parametrize("kind", BLINDNESS)
def test_colours_of_one_picture_stay_apart(kind):
    shift = np.array(BLINDNESS[kind])
    drawn = [*palette.SERIES, palette.ALARM, palette.SHEET]
    for a, b in itertools.combinations(drawn, 2):
        distance = np.linalg.norm(lab(shift @ linear(a)) - lab(shift @ linear(b)))
        assert distance >= 15.0, (a, b, distance)  # 2.3 is just noticeable side by side (Mahy et al. 1994, from memory)


@pytest.mark.parametrize("colour", [palette.INK, palette.FAINT, palette.THRESHOLD, palette.ALARM, palette.PETROL])
@pytest.mark.parametrize("ground", [palette.PAPER, palette.SHEET])
def test_text_has_contrast(colour, ground):
    assert contrast(colour, ground) >= 4.5  # WCAG 2.1, 1.4.3 (AA)


@pytest.fixture(scope="module")
def noisy():
    logs = list(simulate_log("noisy", seed=3).logs)
    return assess(logs), logs


@pytest.fixture(scope="module")
def visits():
    logs = list(simulate_log("degrading-visits", seed=2).logs)
    return assess(logs), logs


def long_blocks(count: int, samples: int, seed: int = 5) -> RunBlocks:
    """Blocks of an invented log with one short swing, without its samples."""
    rng = np.random.default_rng(seed)
    middle = 0.002 + 1e-4 * rng.standard_normal(count)
    low, high = middle - 5e-4, middle + 5e-4
    high[count // 3], low[2 * count // 3] = 4.2, -3.1
    per, step = samples // count, 600_000.0 / samples
    begin = np.arange(count) * per * step
    gap = np.zeros(count, dtype=bool)
    gap[[0, count // 2]] = True
    whole = np.full(count, per)
    nothing = np.zeros(count, dtype=np.int64)
    part = ChannelBlocks(low, high, middle, middle, whole, nothing, nothing, np.empty(0), np.empty(0))
    run = Run("invented", None, 0, samples, 0.0, 600_000.0, step, (), ())
    return RunBlocks(run, 0, 0.0, np.arange(count) * per, whole, begin, begin + (per - 1) * step, gap, (part,))


@pytest.mark.parametrize("focus", [None, np.array([[1e5, 1.01e5], [3e5, 5e5]]), np.array([[0.0, 600_000.0]])])
@pytest.mark.parametrize("rows", [2, 50, MOST_ROWS])
def test_envelope_loses_no_swing_and_keeps_its_limit(rows, focus):
    blocks = long_blocks(1 << 18, 100_000_000)
    begun = time.process_time()
    found = envelope(blocks, 0, rows=rows, focus=focus)
    assert time.process_time() - begun < 2.0
    assert found.time_s.size <= rows
    assert np.nanmax(found.high_V) == 4.2 and np.nanmin(found.low_V) == -3.1
    assert np.all(np.diff(found.time_s) > 0)
    if rows > 8:
        assert set(found.piece) == {0, 1}


def test_envelope_spends_rows_where_it_is_told():
    blocks = long_blocks(1 << 16, 10_000_000)
    inside = [1e5, 1.1e5]
    found = envelope(blocks, 0, focus=np.array([inside]))
    near = (found.time_s >= inside[0]) & (found.time_s <= inside[1])
    assert near.sum() > 0.9 * np.sum((blocks.begin_s >= inside[0]) & (blocks.end_s <= inside[1]))


def test_close_up_reads_the_exact_samples(noisy):
    assessment, logs = noisy
    run = assessment.traces[0]
    row = max(assessment.channel("left").excursions, key=lambda item: abs(item.deviation_V))
    found = window(run.blocks, 0, row.start_s - 5, row.end_s + 5, log=logs[0])
    frame = logs[0].to_frame()
    cut = frame[(frame.time_s >= row.start_s - 5) & (frame.time_s <= row.end_s + 5)]
    assert np.array_equal(found.time_s, cut.time_s) and np.array_equal(found.low_V, cut.left)
    assert row.peak_V in found.low_V


def test_logs_of_one_name_are_told_apart():
    time_s = np.arange(100.0)
    two = [Log.from_arrays(time_s, {"left": np.full(100, level)}, name="a.csv") for level in (0.001, 0.002)]
    blocks = [run for log in two for run in reduce_log(log)]
    assert list(logs_of_runs(blocks, two)) == two
    assert list(logs_of_runs(blocks, None)) == [None, None]


ALL = ("overview", "episodes", "cumulative", "rates", "sizes", "gaps", "power_ups", "settled", "allan", "coincidence")


@pytest.mark.parametrize("name", ALL)
@pytest.mark.parametrize("which", ["noisy", "visits"])
def test_each_chart_has_a_caption_units_and_a_limit(name, which, request):
    assessment, logs = request.getfixturevalue(which)
    options = {"logs": logs} if name in {"overview", "episodes"} else {}
    chart = getattr(charts, name)(assessment, **options)
    spec = chart.to_dict()  # Altair checks it against the schema of Vega-Lite
    assert charts.caption_of(chart).endswith((".", "!")) and charts.note_of(chart)
    assert charts.caption_of(chart) in spec["description"]
    assert len(json.dumps(spec)) < 3e6
    assert sum(len(rows) for rows in spec["datasets"].values()) <= MOST_ROWS + 1800
    titles = [item for item in walk(spec, "title") if isinstance(item, str)]
    units = (
        "(mV)",
        "(V)",
        "(µV)",
        "(s)",
        "(min)",
        "(h)",
        "(h:min)",
        "(count)",
        "(number)",
        "per observed hour",
        "share of",
        "confidence",
    )
    assert titles and all(any(unit in title for unit in units) for title in titles), titles


def walk(node, key):
    """Axis titles of a specification; tooltips have titles without units of their own."""
    if isinstance(node, dict):
        for name, item in node.items():
            if name == key:
                yield item
            elif name not in {"tooltip", "datasets", "config"}:
                yield from walk(item, key)
    elif isinstance(node, list):
        for item in node:
            yield from walk(item, key)


def test_captions_come_from_the_data(noisy):
    assessment, _ = noisy
    for channel in ("left", "right"):
        item = assessment.channel(channel)
        caption = charts.caption_of(charts.overview(assessment, channel))
        assert item.verdict in caption
        told = f"{item.rate.episodes} episodes" if item.rate.episodes else "No episode"
        assert told in caption
    assert "could have been missed" in charts.caption_of(charts.cumulative(assessment, "right"))


def test_brush_of_the_overview_moves_the_close_up(noisy):
    spec = charts.overview(noisy[0], "left").to_dict()
    whole, close = spec["vconcat"]
    (brush,) = [item for item in spec["params"] if item["name"] == "stretch"]
    assert brush["select"] == {"type": "interval", "encodings": ["x"]}
    assert brush["views"] == [whole["layer"][0]["name"]]
    domains = [layer["encoding"]["x"]["scale"]["domain"] for layer in close["layer"] if "x" in layer["encoding"]]
    assert all(domain == {"param": "stretch", "encoding": "x"} for domain in domains)


def test_nothing_to_draw_says_so(noisy):
    assessment, _ = noisy
    for make in (charts.episodes, charts.sizes, charts.gaps):
        with pytest.raises(charts.NothingToDraw):
            make(assessment, "right")
    with pytest.raises(ValueError, match="left, right"):
        charts.overview(assessment, "centre")


def test_plans_draw_from_documents():
    rate = {"per_hour": 6.0, "low_per_hour": 4.0, "high_per_hour": 9.0, "episodes": 30, "observed_s": 18_000}
    clean = {"per_hour": 0.0, "low_per_hour": 0.0, "high_per_hour": 0.6, "episodes": 0, "observed_s": 21_600}
    ratio = {"estimate": 0.0, "low": 0.0, "high": 0.1}
    told = {"channels": [{"channel": "left", "outcome": "improved", "before": rate, "after": clean, "ratio": ratio}]}
    assert charts.caption_of(charts.before_after(told)).startswith("left: improved (at most 0.1 of the rate before")
    table = [{"confidence": c, "hours": h} for c, h in ((0.5, 0.7), (0.9, 2.3), (0.95, 3.0))]
    plan = {"hours": 3.0, "confidence": 0.95, "table": table, "reads": "Soak for 3 hours."}
    assert charts.caption_of(charts.soak(plan)) == "Soak for 3 hours."
    with pytest.raises(charts.NothingToDraw):
        charts.soak({"table": []})
    # A reading every second sees 1 in 1 of glitches of a second and, of shorter ones, their length in seconds: for
    # glitches of one length the share is length over interval (uniform phase).
    assert "nine in ten glitches from 0.9" in charts.caption_of(charts.caught(1.0))


def volt_scales(spec):
    return [
        item for item in walk_all(spec, "scale") if isinstance(item, dict) and ("domainMin" in item or "zero" in item)
    ]


def walk_all(node, key):
    if isinstance(node, dict):
        for name, item in node.items():
            if name == key:
                yield item
            yield from walk_all(item, key)
    elif isinstance(node, list):
        for item in node:
            yield from walk_all(item, key)


def ends(spec):
    """Lower and upper end of volts that a strip shows unless its own scale is asked for."""
    scale = volt_scales(spec)[0]
    if "domain" in scale:
        return scale["domain"]
    return [float(scale[name]["expr"].split(":")[-1]) for name in ("domainMin", "domainMax")]


def test_left_and_right_before_and_after_lie_on_one_scale(noisy, visits):
    first, second = noisy[0], visits[0]
    left, right = (charts.overview(first, name).to_dict() for name in ("left", "right"))
    assert ends(left) == pytest.approx(ends(right))
    swing = max(abs(row.peak_V) for row in first.channel("left").excursions)
    assert 1e3 * swing <= max(map(abs, ends(right)))
    pair = [charts.overview(one, "left", beside=[other]).to_dict() for one, other in ((first, second), (second, first))]
    assert ends(pair[0]) == pytest.approx(ends(pair[1]))
    across = [spec["vconcat"][0]["layer"][-1]["encoding"]["x"]["scale"]["domain"] for spec in pair]
    assert across[0] == pytest.approx(across[1])
    for spec in (left, right, *pair):
        assert export.svg_of(spec).startswith("<svg")
    # The calm channel may still be looked at closely: a tick gives it its own scale.
    (tick,) = [item for item in right["params"] if item["name"] == "own_scale"]
    assert tick["bind"]["input"] == "checkbox" and tick["value"] is False


def test_a_dated_log_is_drawn_on_the_clock_with_its_midnights():
    from datetime import datetime

    time_s = np.arange(0.0, 4 * 3600.0, 2.0)
    level = 2e-3 + 3e-4 * np.random.default_rng(3).standard_normal(time_s.size)
    log = Log.from_arrays(time_s, {"left": level}, name="night", start=datetime(2031, 3, 9, 22, 30))
    spec = charts.overview(assess(log)).to_dict()
    titles = {item for item in walk(spec, "title") if isinstance(item, str)}
    assert "clock, from 9 Mar 2031 (h:min)" in titles
    rows = [row for rows in spec["datasets"].values() for row in rows if "day" in row]
    assert {row["day"] for row in rows} == {"10 Mar"} and {row["x"] for row in rows} == {24.0}


def test_one_clean_log_has_one_limit_in_words():
    made = assess(list(simulate_log("steady", hours=6.0, seed=4).logs))
    from flicker.present.said import clean_limit, rate_text

    rate = made.channel("left").rate
    # Six clean hours: -ln(0.05) / 6 = 0.4993 per hour, once in 2 hours (rule of three).
    assert clean_limit(rate) == rate_text(rate) == "a fault rarer than once in 2 hours could have been missed (95%)"
    for make in (charts.rates, charts.cumulative):
        assert "once in 2 hours" in charts.caption_of(make(made, "left"))
    spec = charts.rates(made, "left").to_dict()
    highs = [row["high"] for rows in spec["datasets"].values() for row in rows if row.get("name") == "all together"]
    assert highs and highs == pytest.approx([rate.steady_upper_per_h] * len(highs), rel=1e-6)


def test_growth_that_is_not_shown_claims_nothing(visits):
    from dataclasses import replace

    from flicker.present.said import finding_text

    finding = visits[0].channel("left").finding("larger")
    open_ = replace(finding, answer="not shown", effect=1.2, low=0.1, high=14.0, reads="the size becomes 1.2 times")
    assert finding_text(open_) == "Too uncertain to tell (0.1 to 14 times)."
    assert finding_text(replace(open_, answer="yes")) == "the size becomes 1.2 times"


def test_shares_keep_their_sign_below_one_per_cent():
    from flicker.base.formats import share_text

    assert [share_text(x) for x in (0.0, 2e-5, 0.004, 0.034, 0.5, 1.0)] == [
        "0%",
        "less than 0.1%",
        "0.4%",
        "3.4%",
        "50%",
        "100%",
    ]


def bars(chart):
    told = chart.to_dict()["datasets"].values()
    return [row for rows in told for row in rows if "least" in row]


def test_power_up_rates_hold_the_scatter_that_the_claim_allows(visits):
    from scipy import stats

    found, _ = visits
    chart = found.chart.rates("left")
    assert charts.caption_of(chart) == f"left: {found.channel('left').finding('worse with age').reads}"
    assert "up to which the claim holds" in charts.note_of(chart)
    counts = [part.size for part in found.records[0].per_cycle()[0]]
    seen = [row for rows in chart.to_dict()["datasets"].values() for row in rows if "colour" in row]
    assert [row["n"] for row in seen] == [str(n) for n in counts]
    # exact Poisson limits (Garwood 1936) by the chi-square law
    hours = found.records[0].per_cycle()[1][0] / 3600
    assert seen[-1]["low"] == pytest.approx(stats.chi2.ppf(0.025, 2 * counts[-1]) / 2 / hours, rel=1e-4)
    # the broad bars: quantiles of the negative binomial about the line at the scatter that the sentence names
    share = int(re.search(r"differ by no more than (\d+)%", charts.caption_of(chart))[1]) / 100
    line = [row["rate"] for rows in chart.to_dict()["datasets"].values() for row in rows if "part" in row]
    law = stats.nbinom(1 / share**2, 1 / (1 + share**2 * line[-1] * hours))
    assert bars(chart)[-1]["most"] == pytest.approx(law.ppf(0.975) / hours, rel=1e-4)
    assert len(bars(chart)) == len(counts)


def test_the_band_of_an_even_pace_is_binomial_and_its_test_kolmogorovs(visits):
    from scipy import stats

    chart = visits[0].chart.cumulative("left")
    rows = [row for rows in chart.to_dict()["datasets"].values() for row in rows if "even" in row]
    count, total = round(rows[-1]["even"]), rows[-1]["x"]
    share = np.array([row["x"] for row in rows]) / total
    for key, level in (("n", 0.025), ("n2", 0.975)):
        assert [row[key] for row in rows] == stats.binom.ppf(level, count, np.round(share, 6)).tolist()
    places = np.array([row["x"] for rows in chart.to_dict()["datasets"].values() for row in rows if set(row) == {"x", "n"}])
    even = "an even pace is not ruled out" in charts.caption_of(chart)
    assert even == (stats.kstest(places[1:-1] / total, "uniform", method="exact").pvalue > 0.05)


def test_power_up_rates_before_and_after_and_over_visits(visits):
    _, logs = visits
    compared = flicker.compare(logs[:2], logs[2:])
    chart = compared.chart.power_up_rates("left")
    assert len(bars(chart)) == 5 and " times the rate of episodes before (" in charts.caption_of(chart)
    line = [row["rate"] for rows in chart.to_dict()["datasets"].values() for row in rows if "part" in row]
    left = compared.channel("left")
    assert line[0] == pytest.approx(left.before.rate.per_hour, rel=1e-4)
    assert line[-1] == pytest.approx(left.after.rate.per_hour, rel=1e-4)
    over = flicker.over_visits([(datetime.date(2026, 1 + k, 1), [log]) for k, log in enumerate(logs)])
    chart = over.chart.rates("left")
    assert len(bars(chart)) == 5 and "visits" in charts.note_of(chart)


def test_mean_cumulative_draws_halves_sides_and_visits(visits):
    found, logs = visits
    chart = found.chart.mean_cumulative("left")
    assert "a power-up shows" in charts.caption_of(chart)
    told = chart.to_dict()["datasets"].values()
    groups = {row["group"] for rows in told for row in rows if "group" in row}
    assert groups == {"power-ups 1 to 2", "power-ups 3 to 5"}  # of the five that were simulated
    # the curve ends at the number of episodes of those power-ups over their number (all are equally long)
    times, _ = found.records[0].per_cycle()
    last = max(row["n"] for rows in told for row in rows if row.get("group") == "power-ups 3 to 5")
    assert last == pytest.approx(sum(part.size for part in times[2:]) / 3)
    compared = flicker.compare(logs[:2], logs[2:])
    assert "Episodes of a power-up within 2 hours of switching on" in charts.caption_of(compared.chart.mean_cumulative("left"))
    over = flicker.over_visits([(datetime.date(2026, 1 + k, 1), [log]) for k, log in enumerate(logs)])
    assert "last visit" in charts.caption_of(over.chart.mean_cumulative())
    with pytest.raises(charts.NothingToDraw, match="one power-up"):
        assess(logs[:1]).chart.mean_cumulative("left")


def test_names_of_runs_lie_apart_on_any_scale():
    """Three evenings of twenty minutes, beside one of ten hours as well: a strip of 720 pixels, letters of some 5.5 (measured at size 10)."""
    rng = np.random.default_rng(1)

    def evening(day, hours):
        time_s = np.arange(0.0, 3600.0 * hours, 5.0)
        volts = 0.004 + 0.1 * np.exp(-time_s / 20.0) + 2e-4 * rng.standard_normal(time_s.size)
        return Log.from_arrays(time_s, {"left": np.round(volts, 5)}, name=f"{day}.csv", start=datetime.datetime(2031, 3, day, 9))

    short, long = assess([evening(day, 0.34) for day in (1, 2, 3)]), assess(evening(9, 10.0))
    for beside, names in ([], ["run 1, 1 Mar 09:00", "run 2, 2 Mar 09:00", "run 3, 3 Mar 09:00"]), ([long], ["run 1", "run 3"]):
        told = charts.overview(short, "left", beside=beside).to_dict()
        (named,) = [rows for rows in told["datasets"].values() if rows and rows[0].keys() == {"x", "run"}]
        assert [row["run"] for row in named] == names
        end = told["vconcat"][0]["layer"][0]["encoding"]["x"]["scale"]["domain"][1]
        for row, after in itertools.pairwise(named):
            assert 5.5 * len(row["run"]) < 720.0 * (after["x"] - row["x"]) / end


def test_a_count_of_one_has_two_ticks():
    """One swing in two hours: 0 and 1, each once (the engine's own ticks were 0, a half and 1, told as 0, 1, 1)."""
    time_s = np.arange(0.0, 7200.0)
    volts = 0.004 + 2e-4 * np.random.default_rng(1).standard_normal(time_s.size) + 0.2 * ((time_s > 3000) & (time_s < 3004))
    told = charts.cumulative(assess(Log.from_arrays(time_s, {"left": np.round(volts, 5)}))).to_dict()
    assert "left: 1 episode" in json.dumps(told)
    assert told["layer"][0]["encoding"]["y"]["axis"]["values"] == [0, 1]
