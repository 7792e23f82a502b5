"""Results in a notebook: tables of pandas, three lines, one glance, and charts that can be changed."""

from __future__ import annotations

import dataclasses
import importlib

import numpy as np
import pandas as pd
import pytest
from test_wrong_arguments import FUNCTIONS, SOUND

import flicker
from flicker.base import views
from flicker.base.result import ACROSS, Result

DEMO = importlib.resources.files("flicker").parent / "demo_data"


@pytest.fixture(scope="module")
def found():
    return flicker.assess([DEMO / f"a45_1_as_received_{k}.csv" for k in (1, 2, 3)])


@pytest.fixture(scope="module")
def compared(found):
    return flicker.compare(found, [DEMO / f"a45_3_part_replaced_{k}.csv" for k in (1, 2)])


@pytest.fixture(scope="module")
def visits():
    return flicker.over_visits([(None, [DEMO / f"a45_1_as_received_{k}.csv"]) for k in (1, 2, 3)])


def test_tables_agree_with_the_document(found):
    told = found.to_dict()
    channels, runs, findings = found.channels_frame(), found.runs_frame(), found.findings_frame()
    assert channels["verdict"].tolist() == [item["verdict"] for item in told["channels"]]
    assert runs["source"].tolist() == [run["source"] for run in told["runs"]]
    assert len(findings) == sum(len(item["findings"]) for item in told["channels"])
    left = findings[(findings.channel == "left") & (findings.question == "intermittent")]
    assert left["answer"].tolist() == ["yes"]
    excursions = found.excursions_frame()
    for item in told["channels"]:
        mine = excursions[excursions.channel == item["channel"]]
        assert np.allclose(mine["peak_V"], [row["peak_V"] for row in item["excursions"]], rtol=0, atol=0)
        assert mine["phase"].tolist() == [row["phase"] for row in item["excursions"]]
    episodes = found.episodes_frame()
    counted = episodes[~episodes.in_all_channels].groupby("channel").size()
    assert counted["left"] == told["channels"][0]["rate"]["episodes"]
    assert channels.set_index("channel").loc["left", "episodes"] == counted["left"]


def test_moments_are_told_where_the_log_tells_them():
    made = flicker.assess(DEMO / "relay.csv")
    table = made.excursions_frame()
    run = made.runs[0]
    assert run.start is not None and len(table)
    since = (table["start"] - pd.Timestamp(run.start)).dt.total_seconds()
    assert np.allclose(since, table["start_s"], atol=1e-6)


def test_a_clean_channel_gives_empty_tables_with_their_columns():
    made = flicker.assess(list(flicker.simulate_log("steady", hours=0.5, seed=3).logs))
    assert made.episodes_frame().empty and "size_V" in made.episodes_frame()
    assert made.excursions_frame().empty and "peak_V" in made.excursions_frame()


def test_comparison_visits_and_plan_give_tables(compared, visits):
    table = compared.channels_frame().set_index("channel")
    assert table.loc["left", "before_episodes"] == compared.channel("left").before.rate.episodes
    assert table.loc["left", "outcome"] == compared.channel("left").outcome
    assert set(compared.changes_frame()["quantity"]) == {
        getattr(compared.channel("left"), name).quantity for name in ("noise_ratio", "level_shift_V", "size_change")
    }
    days = visits.visits_frame()
    assert len(days) == 3 * len(visits.channels)
    assert days["episodes"].tolist() == [row.episodes for item in visits.channels for row in item.visits]
    assert {"more often", "larger"} <= set(visits.findings_frame()["question"])
    plan = flicker.plan_soak(count=3, hours=2.0)
    assert plan.plan_frame()["hours"].is_monotonic_increasing


def test_three_lines_however_much_was_found(found, compared, visits):
    plan = flicker.plan_soak(count=3, hours=2.0)
    for result in (found, found.channel("left"), compared, compared.channel("left"), visits, plan, found.limits):
        lines = repr(result).split("\n")
        assert 1 <= len(lines) <= 3 and max(map(len, lines)) <= ACROSS, lines
        assert lines[0].startswith(f"{type(result).__name__}(")
    assert found.reads[:60] in repr(found)
    small = flicker.stats.rates.rate_interval(3, 2.0)
    assert "rate=1.5" in repr(small)


def subclasses(kind):
    for found in kind.__subclasses__():
        yield found
        yield from subclasses(found)


def within(value, seen):
    """All results within a result."""
    if isinstance(value, Result):
        seen.setdefault(type(value), value)
        for item in dataclasses.fields(value):
            within(getattr(value, item.name), seen)
    elif isinstance(value, dict):
        for item in value.values():
            within(item, seen)
    elif isinstance(value, (list, tuple)):
        for item in value:
            within(item, seen)


def test_every_result_class_shows_itself_in_three_lines(found, compared, visits):
    seen: dict[type, Result] = {}
    job = flicker.judge_case(flicker.read_case(DEMO / "m22_case.toml"))
    for result in (found, compared, visits, job, flicker.plan_soak(count=3, hours=2.0)):
        within(result, seen)
    for name, options in SOUND.items():
        within(FUNCTIONS[name.partition(" ")[0]](**options), seen)
    assert len(seen) > 90
    for kind, result in seen.items():
        lines = repr(result).split("\n")
        assert len(lines) <= 3 and max(map(len, lines)) <= ACROSS, (kind, lines)
    own = [kind for kind in subclasses(Result) if kind.__repr__ is not Result.__repr__ and kind not in seen]
    assert own == []  # what was not seen here cannot be longer: it takes the common three lines


INDEXES = {
    "moments": lambda s: pd.Timestamp("2031-03-05 10:00") + pd.to_timedelta(s, unit="s"),
    "durations": lambda s: pd.to_timedelta(s, unit="s"),
    "seconds": lambda s: pd.Index(s, name="time_s"),
}


@pytest.mark.parametrize("kind", INDEXES)
def test_a_frame_is_judged_as_its_file_is(kind, tmp_path):
    rng = np.random.default_rng(8)  # invented: a swing every five minutes
    seconds = np.arange(7200) * 0.5
    values = 0.004 + 4e-4 * rng.standard_normal(seconds.size)
    values[300::600] += 0.2
    values = np.round(values, 5)
    np.savetxt(
        tmp_path / "log.csv", np.column_stack((seconds, values)), delimiter=",", header="time_s,left_V", comments="", fmt="%.5f"
    )
    frame = pd.DataFrame({"left_V": values}, index=INDEXES[kind](seconds))
    by_file, by_frame = flicker.assess(tmp_path / "log.csv"), flicker.assess(frame)
    one, two = by_file.channels[0].to_dict(), by_frame.channels[0].to_dict()
    assert one["rate"]["episodes"] == 12 and one == two | {"channel": one["channel"]}
    assert (by_frame.runs[0].start is not None) == (kind == "moments")


def test_one_glance_holds_verdict_strip_and_findings(found, compared, visits):
    page = found._repr_html_()
    for item in found.channels:
        assert item.reads.split(":")[0] in page and item.verdict in page
    assert 'src="data:image/svg+xml;base64,' in page and "<script" not in page
    assert found.channel("left").finding("intermittent").reads.split(".")[0] in page
    assert page.index("loudspeaker:") < page.index("<img")
    assert compared.channel("left").outcome in compared._repr_html_() and "left" in visits._repr_html_()


def test_names_from_outside_are_escaped():
    time_s = np.arange(4000) * 0.5
    noise = np.random.default_rng(1).standard_normal((2, 4000)) * 4e-4
    made = flicker.assess(flicker.Log.from_arrays(time_s, {"<b>1</b>": noise[0], "2": noise[1]}, name="x"))
    assert "<b>1" not in made._repr_html_() and "&lt;b&gt;1" in made._repr_html_()


@pytest.mark.parametrize("name", ["strip", "glance", "episodes", "cumulative", "rates", "sizes", "gaps", "settled"])
def test_charts_by_name_can_be_changed(found, name):
    chart = getattr(found.chart, name)(*([] if name == "glance" else ["left"]))
    changed = chart.properties(description="mine")
    assert changed.to_dict()["description"] == "mine"
    assert name in repr(found.chart)


def test_charts_of_the_other_results(compared, visits):
    assert compared.chart.rates().to_dict() and compared.chart.after("left").to_dict()
    assert visits.chart.rates("left").to_dict() and flicker.plan_soak(count=3, hours=2.0).chart.hours().to_dict()


def test_reckoning_rooms_load_no_charts(monkeypatch):
    assert views.view("nothing registered", object()) is None
    for kind in ("html", "charts"):
        monkeypatch.setattr(f"flicker.present.results.{kind}", lambda result, kind=kind: (kind, result))
        assert views.view(kind, "of a result") == (kind, "of a result")
