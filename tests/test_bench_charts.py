"""Pictures and page of what the bench asks beyond counting: what they draw is what the results say. All logs are invented."""

from __future__ import annotations

import re

import browser
import numpy as np
import pytest
from test_report import Page, needs_chromium
from test_schema import loads, validate

from flicker import assess, over_visits, read_case, read_log, simulate_log, visits_of_case
from flicker.cli import main
from flicker.present import charts
from flicker.present.report import report_html


@pytest.fixture(scope="module")
def demo(request):
    return request.config.rootpath / "demo_data"


@pytest.fixture(scope="module")
def seasons(demo):
    case = read_case(demo / "m22_case.toml")
    visits, stages = visits_of_case(case)
    return over_visits(visits, case=case, stages=stages)


@pytest.fixture(scope="module")
def controlled(demo):
    return assess([read_log(demo / "m22_visit_3.csv")], control=[read_log(demo / "m22_shorted.csv")])


def layers(chart, *fields):
    """Rows of every layer that holds all these fields."""
    spec = chart.to_dict()
    tables = [spec["datasets"][layer["data"]["name"]] for layer in (spec, *spec["layer"]) if "data" in layer]
    return [rows for rows in tables if rows and set(fields) <= set(rows[0])]


def test_rates_of_visits_with_line_and_the_visit_ahead(seasons):
    left = seasons.channel("left")
    chart = charts.visit_rates(seasons)
    dots = layers(chart, "name", "low")[0]
    assert [row["said"] for row in dots] == ["3 in 59 minutes", "5 in 59 minutes", "21 in 59 minutes"]
    assert [row["rate"] for row in dots] == pytest.approx([row.per_hour for row in left.visits], rel=1e-6)
    # The line has the fitted factor and gives as many episodes in all as were seen.
    seen, ahead = sorted(layers(chart, "ahead"), key=lambda rows: rows[0]["ahead"])
    days = np.array([(np.datetime64(row["x"]) - np.datetime64(seen[0]["x"])) / np.timedelta64(1, "D") for row in seen])
    fitted = np.interp([visit.day for visit in seasons.visits], days, [row["rate"] for row in seen])
    hours = np.array([row.observed_s / 3600.0 for row in left.visits])
    assert fitted @ hours == pytest.approx(29, rel=0.01)
    assert fitted[2] / fitted[0] == pytest.approx(left.rate.overall, rel=0.01)
    assert ahead[-1]["x"].startswith("2031-12-23")  # 98 days after the last
    (diamond,) = layers(chart, "low", "said")[-1]
    assert diamond["high"] * left.forecast.exposure / 3600.0 == pytest.approx(left.forecast.high, rel=1e-6)
    assert charts.caption_of(chart) == f"left: {left.rate.reads}"
    assert "if the growth goes on" in charts.note_of(chart)


def test_calm_visits_draw_no_line_and_no_forecast(seasons):
    chart = charts.visit_rates(seasons, "right")
    assert layers(chart, "ahead") == [] and "Diamond" not in charts.note_of(chart)
    with pytest.raises(ValueError, match="left, right"):
        charts.visit_rates(seasons, "centre")


def test_levels_of_visits(seasons):
    told = seasons.channel("left").level_forecast
    chart = charts.visit_levels(seasons, "left")
    (diamond,) = layers(chart, "low")[0]
    assert (diamond["low"], diamond["high"]) == pytest.approx((1e3 * told.low_V, 1e3 * told.high_V), rel=1e-5)
    assert sorted(len(rows) for rows in layers(chart, "mV", "name")) == [3, 3, 6]  # line, middles, six power-ups
    one = over_visits([(None, list(simulate_log("steady", hours=0.2, seed=1).logs))])
    assert charts.caption_of(charts.visit_levels(one, "left")) == "left: one visit shows no movement."
    assert charts.visit_rates(one, "left").to_dict()


def test_unit_or_meter(controlled):
    told = controlled.channel("left").control
    rows = layers(charts.unit_or_meter(controlled, "left"), "said")[0]
    assert [row["name"] for row in rows] == ["unit", "control (shorted leads)", "unit less control"]
    assert rows[2]["low"] == pytest.approx(told.excess_low_per_h, rel=1e-6) and rows[1]["rate"] == 0.0
    with pytest.raises(charts.NothingToDraw, match="no control run"):
        charts.unit_or_meter(assess(list(simulate_log("steady", hours=0.2).logs)), "left")


def test_warm_up_thresholds_and_stimuli():
    hot = assess(list(simulate_log("warm-up", hours=0.7, runs=6, seed=2).logs))
    told = hot.channel("left").warm_up
    chart = charts.warm_up(hot, "left")
    steps = layers(chart, "x2")[0]
    assert [row["rate"] for row in steps] == pytest.approx([part.per_h for part in told.bins], rel=1e-6)
    assert "fitted exponential" in charts.note_of(chart) and steps[-1]["x2"] == pytest.approx(42, abs=0.1)
    relay = hot.channel("left").relay
    bars = layers(charts.thresholds(hot, "left"), "trips")[0]
    assert {row["name"].split()[0]: row["trips"] for row in bars} == {
        "0.75": relay.trips,
        **{f"{row['trip_V']:g}": row["trips"] for row in relay.what_if},
    }
    tapped = assess(list(simulate_log("steady", hours=0.2).logs))
    for make in (charts.stimuli, charts.thresholds, charts.warm_up):
        with pytest.raises(charts.NothingToDraw):
            make(tapped, "right")


def test_stimuli_by_kind_from_the_command_line(tmp_path, capsys):
    # Put in: nine of ten taps answered.
    simulate_log("taps", hours=0.5, seed=1).write(tmp_path / "taps.csv")
    found = assess([read_log(tmp_path / "taps.csv")])
    rows = layers(charts.stimuli(found, "left"), "chance")[0]
    assert [(row["name"], row["said"]) for row in rows] == [("tap", "9 of 10")]
    assert main(["assess", str(tmp_path / "taps.csv")]) == 0
    page = " ".join(capsys.readouterr().out.split())
    assert "It does so when it is provoked (90% of the trials)" in page or "jumps when it is provoked (90%" in page
    assert page.count("9 of 10 answered") == 2  # as a finding, and as what a clue rests on
    assert "0 times in" not in page and "insulated" in page
    assert main(["assess", str(tmp_path / "taps.csv"), "--json"]) == 0
    told = validate(loads(capsys.readouterr().out))["channels"][0]["stimulus"]
    assert (told["provoked"], told["best"], told["kinds"][0]["repeats"]) == ("yes", "tap", 2)


def test_the_document_holds_the_power_ups_history_and_the_warm_up(tmp_path, capsys):
    simulate_log("warm-up", hours=0.3, runs=6, seed=2).write(tmp_path / "six.csv")
    assert main(["assess", str(tmp_path / "six.csv"), "--json"]) == 0
    told = validate(loads(capsys.readouterr().out))["channels"][0]
    assert told["power_up_history"]["power_ups"] == 6 and len(told["power_up_history"]["checks"]) == 2
    assert told["warm_up"]["tau_s"] > 0 and "time constant" in told["warm_up"]["reads"]


def test_the_page_of_visits(seasons):
    page = report_html(seasons)
    said = Page(page).text
    order = [
        "Is it getting worse?",
        "Quillmoor M-22, 3 visits",
        "Loudspeaker: ",
        "left: worse",
        "Evidence",
        "Channel left",
        "Method",
    ]
    order += ["licensed practice"]
    said = said[said.index("Is it getting worse?") :]  # the contents name some of these before
    places = [said.index(part) for part in order]
    assert places == sorted(places)
    assert all(item.reads in said and item.year_reads in said for item in seasons.channels)
    assert not re.search(r"\b(nan|None|inf)\b", said) and page == report_html(seasons)


@needs_chromium
def test_browser_draws_the_page_of_visits(demo, tmp_path, capsys, driver):
    page = tmp_path / "visits.html"
    assert main(["visits", "--case", str(demo / "m22_case.toml"), "--report", str(page)]) == 0
    assert capsys.readouterr().out.endswith(f"Page written: {page}\n")
    seen = browser.visit(page, driver)
    assert seen.console == [] and seen.requests == []
    assert seen.dom.count('<figure data-chart="') == seen.dom.count('class="drawn"') == 5


@pytest.mark.parametrize(
    "command", ["assess demo_data/m22_taps.csv", "assess demo_data/relay.csv", "visits --case", "--control"]
)
def test_the_first_page_quotes_real_output(command, request, capsys, monkeypatch):
    # Every sentence quoted under a command of README.md stands in what the command prints.
    monkeypatch.chdir(request.config.rootpath)
    block = (
        request.config.rootpath.joinpath("README.md")
        .read_text(encoding="utf-8")
        .split("## Questions from the bench")[1]
    )
    line = next(line for line in block.split("## ")[0].splitlines() if line.startswith("    $") and command in line)
    quoted = [text for part in block.split(line + "\n")[1:] for text in part.split("\n\n")[0].splitlines()]
    assert main(line.split()[2:]) == 0
    printed = " ".join(capsys.readouterr().out.split())
    names = r"^ *(control|provoked|worth looking|loudspeaker|thresholds|next visit) +|^ +"
    said = " ".join(re.sub(names, "", text) for text in quoted)
    for sentence in re.split(r"(?<=[.:;]) |(?<=\d) (?=It comes)", " ".join(said.split())):
        assert sentence in printed, sentence
