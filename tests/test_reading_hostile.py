"""Damaged logs, and outside witnesses: the zone database, Python's numbers, the calendar. All data are invented."""

from __future__ import annotations

import warnings
from datetime import date, datetime, timedelta, timezone
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from fuzz.mutate import CELLS, mutate
from fuzz.run import check
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from test_reading import FORMS, SECONDS, table

from flicker.logs import arrow_types
from flicker.logs.model import LogError
from flicker.logs.reading import read_log
from flicker.logs.reading.words import clock

FOLDER = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])


@settings(parent=FOLDER, max_examples=150)
@given(st.sampled_from(sorted(FORMS)), st.integers(0, 2**32 - 1))
def test_a_damaged_log_reads_or_is_refused_in_one_sentence(tmp_path: Path, form: str, seed: int):
    path = tmp_path / "damaged.csv"
    path.write_bytes(mutate(FORMS[form].encode(), np.random.default_rng(seed)))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        check(path)


@FOLDER
@given(st.sampled_from(CELLS), st.integers(1, 40), st.integers(0, 2))
def test_nothing_is_lost_and_nothing_invented_beside_a_strange_cell(tmp_path: Path, cell: str, row: int, column: int):
    lines = table("time_s,left_mV,right_mV", SECONDS).splitlines()
    cells = lines[row].split(",")
    cells[column] = cell
    lines[row] = ",".join(cells)
    path = tmp_path / "strange.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    try:
        frame = read_log(path).to_frame()
    except LogError:
        return
    expected = np.array(
        [[float(c) / 1000 for c in line.split(",")[1:]] for k, line in enumerate(lines) if k not in (0, row)]
    )
    got = frame[["left", "right"]].to_numpy()
    assert len(got) in (39, 40)  # the strange row is kept or left out, the others are all there
    others = got if len(got) == 39 else np.delete(got, row - 1, axis=0)
    np.testing.assert_array_equal(others, expected)
    unread = len(got) == 40 and bool(np.isnan(got[row - 1]).all())  # not read, and so not observed
    if len(got) == 40 and column and not unread:  # the cell beside the strange one
        assert got[row - 1, 2 - column] == float(cells[3 - column]) / 1000


FOUND = {  # what the fuzzer found, smallest form: see fuzz/README.md
    "endless cell": FORMS["plain"].replace("\n5.0,", "\n" + "1" * 5000 + ","),
    "not UTF-8, odd row": FORMS["plain"].encode().replace(b"\n5.0,", b"\n\x9f\xd2,,5.0,"),
    "infinite first column": "a,left_mV,b\n" + "".join(f"inf,{k}.5,{k}\n" for k in range(20)),
    "two far steps": "time_s,left_mV\n" + "".join("0,1.5\n" for _ in range(9)) + "1,1.5\n900,1.5\n901e3,1.5\n",
    "endless header": FORMS["plain"].replace("time_s", "time_" + "1" * 5000),
    "run column first": FORMS["plain"].replace("time_s", "run"),
    "huge times": "time_s,left_mV\n" + "".join(f"{(-1) ** k}e308,1.5\n" for k in range(20)),
    "huge kilovolts": "time_s,left_kV\n" + "".join(f"{k},1e306\n" for k in range(20)),
}


@pytest.mark.parametrize("case", FOUND)
def test_found_by_the_fuzzer(case: str, tmp_path: Path):
    text = FOUND[case]
    path = tmp_path / "found.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        check(path)


@pytest.mark.parametrize(
    ("zone", "begin"),
    [
        ("Europe/Berlin", datetime(2026, 3, 29, 0, 0)),
        ("Europe/Berlin", datetime(2026, 10, 24, 23, 0)),
        ("America/New_York", datetime(2026, 3, 8, 6, 0)),
        ("America/New_York", datetime(2026, 11, 1, 4, 30)),
        ("Australia/Sydney", datetime(2026, 4, 4, 14, 0)),
        ("Australia/Sydney", datetime(2026, 10, 3, 14, 0)),
    ],
)
@pytest.mark.parametrize("form", ["%Y-%m-%d %H:%M:%S", "%d.%m.%Y %H:%M:%S", "%H:%M:%S"])
def test_the_daylight_saving_hour_in_local_stamps(zone: str, begin: datetime, form: str, tmp_path: Path):
    # witness: the time zone database (zoneinfo); the logger writes local time without a zone
    instants = [begin.replace(tzinfo=timezone.utc) + timedelta(seconds=5 * k) for k in range(2880)]  # noqa: UP017
    local = [instant.astimezone(ZoneInfo(zone)).strftime(form) for instant in instants]
    path = tmp_path / "night.csv"
    path.write_text("time,left_mV\n" + "".join(f"{t},{k % 7}.5\n" for k, t in enumerate(local)))
    log = read_log(path)
    np.testing.assert_allclose(log.to_frame()["time_s"], 5.0 * np.arange(2880))
    assert len(log.runs) == 1
    assert not log.runs[0].gaps
    assert any("daylight saving" in note for note in log.runs[0].notes)


@settings(max_examples=100, deadline=None)
@given(
    st.lists(st.floats(-1e6, 1e6).filter(lambda v: v == 0 or abs(v) > 1e-12), min_size=12, max_size=30),
    st.sampled_from([repr, "{:.17g}".format, "{:.9f}".format, "{:+.12e}".format]),
    st.sampled_from([("V", 1), ("mV", 1000), ("uV", 1000000)]),
    st.booleans(),
)
def test_numbers_are_the_nearest_doubles(tmp_path_factory, values, form, unit, words):
    # witness: Python's float(), which rounds correctly
    path = tmp_path_factory.mktemp("n") / "numbers.csv"
    cells = [form(v) for v in values] + (["OL"] if words else [])  # a word sends the block the slow way
    path.write_text(f"time_s,left_{unit[0]}\n" + "".join(f"{k},{c}\n" for k, c in enumerate(cells)))
    got = read_log(path).to_frame()["left"].to_numpy()
    np.testing.assert_array_equal(got[: len(values)], [float(c) / unit[1] for c in cells[: len(values)]])


@settings(max_examples=200, deadline=None)
@given(
    st.datetimes(min_value=datetime(1000, 1, 1)),
    st.sampled_from(["%Y-%m-%d %H:%M:%S.%f", "%d/%m/%Y %I:%M:%S.%f %p", "%d-%b-%Y %H:%M:%S"]),
)
def test_dates_agree_with_the_calendar(moment: datetime, form: str):
    cell = moment.strftime(form)
    found = clock.form_of([cell])
    assert found is not None
    micros, good = clock.parse(arrow_types.words([cell]), found)
    assert good.all()
    assert clock.moment(int(micros[0]), zoned=False) == datetime.strptime(cell, form)


def test_days_that_no_calendar_has_are_refused():
    form = clock.form_of(["2026-02-28 00:00:00"])
    assert form is not None
    days = ["2026-02-29", "2028-02-29", "1900-02-29", "2000-02-29", "2026-04-31", "0000-01-01", "2026-13-01"]
    clocks = ["23:59:60", "24:00:00", "24:00:01"]
    cells = [f"{day} 00:00:00" for day in days] + [f"2026-06-30 {clock}" for clock in clocks]
    _, good = clock.parse(arrow_types.words(cells), form)
    assert good.tolist() == [False, True, False, True, False, False, False, True, True, False]
    # witness: the calendar of weeks of Python's datetime
    for cells, known in (
        (["2026-365", "2026-366", "2028-366", "2026-000", "2026-399"], [True, False, True, False, False]),
        (["2026-W53-7", "2026-W54-1", "2027-W53-1", "2026-W00-1"], [True, False, False, False]),
    ):
        form = clock.form_of([f"{cells[0]}T08:00:00"])
        assert form is not None
        micros, good = clock.parse(arrow_types.words([f"{cell}T08:00:00" for cell in cells]), form)
        assert good.tolist() == known
    assert clock.moment(int(micros[0]), zoned=False).date() == date.fromisocalendar(2026, 53, 7)


@pytest.mark.parametrize("form", ["plain", "units in cells"])
def test_a_code_may_be_larger_than_single_precision_holds(form: str, tmp_path: Path):
    path = tmp_path / "code.csv"
    path.write_text(FORMS[form].replace("118.25", "9.9e99"), encoding="utf-8")
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        frame = read_log(path, missing_words=["9.9e99"]).to_frame()
    assert 0 < np.isnan(frame["left"]).sum() < len(frame)
