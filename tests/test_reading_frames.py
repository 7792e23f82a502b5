"""Data frames, series and arrays as logs: what is a time becomes seconds by what it is. All data here are invented."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest

from flicker import Log, LogError, read_log
from flicker.logs.reading import open_source
from flicker.logs.reading.columnar.columnar_log import ColumnarSource
from flicker.logs.reading.planning.columns import Wishes

N = 50
LEFT = np.round(0.012 + 1e-5 * np.arange(N), 6)
SECONDS = 0.5 * np.arange(N)
START = datetime(2026, 3, 5, 10)
INDEX = pd.date_range(START, periods=N, freq="500ms")


class Stream:
    """Speaks Arrow and nothing else, as frames of other libraries do."""

    def __init__(self, table: pa.Table) -> None:
        self._table = table

    def __arrow_c_stream__(self, requested_schema: Any = None) -> Any:
        return self._table.__arrow_c_stream__(requested_schema)


class Interchange:
    """Speaks the data frame interchange protocol and nothing else."""

    def __init__(self, frame: pd.DataFrame) -> None:
        self._frame = frame

    def __dataframe__(self, **options: Any) -> Any:
        return self._frame.__dataframe__(**options)


FRAMES: dict[str, tuple[Any, datetime | None]] = {
    "index of moments": (pd.DataFrame({"left": LEFT}, index=INDEX), START),
    "index with a zone": (
        pd.DataFrame({"left": LEFT}, index=INDEX.tz_localize("Europe/Berlin")),
        datetime(2026, 3, 5, 9, tzinfo=UTC),
    ),
    "index of durations": (pd.DataFrame({"left": LEFT}, index=pd.to_timedelta(SECONDS, unit="s")), None),
    "index of seconds": (pd.DataFrame({"left": LEFT}, index=SECONDS), None),
    "column of seconds": (pd.DataFrame({"time": SECONDS, "left": LEFT}), None),
    "millivolts by name": (pd.DataFrame({"time_s": SECONDS, "left_mV": LEFT * 1e3}), None),
    "series": (pd.Series(LEFT, index=INDEX, name="left"), START),
    "arrays": ({"time_s": SECONDS, "left": LEFT}, None),
    "datetime64": (
        {"time": np.datetime64(START, "ms") + np.arange(N) * np.timedelta64(500, "ms"), "left": LEFT},
        START,
    ),
    "timedelta64": ({"time": np.arange(N) * np.timedelta64(500, "ms"), "left": LEFT}, None),
    "nanoseconds since 1970": (
        {"time": 1_772_704_800 * 10**9 + np.arange(N) * 500_000_000, "left": LEFT},
        START.replace(tzinfo=UTC),
    ),
    "datetimes": ({"time": [START + timedelta(seconds=float(s)) for s in SECONDS], "left": LEFT.tolist()}, START),
    "words with commas": (
        {"time_s": [f"{s}".replace(".", ",") for s in SECONDS], "left": [f"{v:.6f}".replace(".", ",") for v in LEFT]},
        None,
    ),
    "Arrow": (pa.table({"time_s": SECONDS, "left": LEFT}), None),
    "speaks Arrow": (Stream(pa.table({"time_s": SECONDS, "left": LEFT})), None),
    "interchange": (Interchange(pd.DataFrame({"time_s": SECONDS, "left": LEFT})), None),
}


@pytest.mark.parametrize("kind", FRAMES)
def test_every_kind_of_frame_reads_alike(kind: str):
    data, start = FRAMES[kind]
    log = read_log(data)
    frame = log.to_frame()
    assert log.channels == ("left",)
    np.testing.assert_allclose(frame["time_s"], SECONDS, atol=1e-9)
    np.testing.assert_allclose(frame["left"], LEFT, rtol=1e-12)
    assert log.runs[0].start == start
    assert log.source.fingerprint() is None


def test_what_frames_do_not_tell_is_asked_for():
    bare = pd.DataFrame({"left": LEFT})
    with pytest.raises(LogError, match="sample_interval_s"):
        read_log(bare)
    assert read_log(bare, sample_interval_s=0.5).runs[0].duration_s == pytest.approx(24.5)
    nanoseconds = {"time": np.arange(N) * 500_000_000, "left": LEFT}
    with pytest.raises(LogError, match="time_unit"):
        read_log(nanoseconds)
    assert read_log(nanoseconds, time_unit="ns").runs[0].duration_s == pytest.approx(24.5)
    for data, wanted in (
        (5, "takes a file"),
        ({"time_s": SECONDS, "left": LEFT[:9]}, "of one length"),
        ({"time_s": SECONDS, "left": np.zeros((N, 2))}, "one dimension"),
        (pd.DataFrame({"left": []}), "no readings"),
    ):
        with pytest.raises(LogError, match=wanted):
            read_log(data)


def test_numbers_of_rows_that_a_filter_left_are_no_seconds():
    kept = np.flatnonzero(np.arange(3 * N) % 7 != 3)[:N]
    bare = pd.DataFrame({"left": np.resize(LEFT, 3 * N)}).iloc[kept]
    for data in (bare, bare["left"]):
        with pytest.raises(LogError, match="no column tells the time"):
            read_log(data)
    assert read_log(bare, time_column="index").runs[0].duration_s == kept[-1]
    assert read_log(bare, time_column="index", time_unit="ms").runs[0].duration_s == pytest.approx(kept[-1] / 1e3)
    for title in ("time_s", "t", "Zeit"):
        log = read_log(pd.DataFrame({title: 0.1 * np.arange(3 * N), "left": np.resize(LEFT, 3 * N)}).iloc[kept])
        assert log.runs[0].duration_s == pytest.approx(0.1 * kept[-1])
        assert log.channels == ("left",)


TIMES: dict[str, tuple[Any, datetime | None]] = {
    "seconds": (SECONDS + 7, None),
    "datetime64[ns]": (INDEX.to_numpy(), START),
    "datetime64[D] and hours": (
        np.datetime64("2026-03-05T10", "h").astype("M8[s]") + np.arange(N) * np.timedelta64(500, "ms"),
        START,
    ),
    "index": (INDEX, START),
    "series with a zone": (pd.Series(INDEX.tz_localize("Europe/Berlin")), datetime(2026, 3, 5, 9, tzinfo=UTC)),
    "timedelta64": (np.arange(N) * np.timedelta64(500_000_000, "ns"), None),
    "datetimes": ([START + timedelta(seconds=float(s)) for s in SECONDS], START),
    "timedeltas": ([timedelta(seconds=float(s)) for s in SECONDS], None),
}


@pytest.mark.parametrize("kind", TIMES)
def test_arrays_take_times_by_what_they_are(kind: str):
    time, start = TIMES[kind]
    log = Log.from_arrays(time, {"left": LEFT})
    np.testing.assert_allclose(log.to_frame()["time_s"], SECONDS, atol=1e-9)
    assert log.runs[0].start == start


def test_nanoseconds_are_never_taken_for_seconds():
    for time in (1_772_704_800 * 10**9 + np.arange(N) * 500_000_000, np.arange(N) * 500_000_000):
        with pytest.raises(LogError, match="cannot be seconds"):
            Log.from_arrays(time, {"left": LEFT})
        assert Log.from_arrays(time / 1e9, {"left": LEFT}).runs[0].duration_s == pytest.approx(24.5)
    with pytest.raises(LogError, match=r"goes to flicker\.read_log"):
        Log.from_arrays(SECONDS, pd.Series(LEFT))  # type: ignore[arg-type]


ROWS = 9000  # of which a table's head holds 4,097


def _odd_times(oddity: str) -> pd.DataFrame:
    """A log whose time column is odd far below its head. Invented."""
    time = pd.Series(pd.date_range("2031-03-03", periods=ROWS, freq="500ms"))
    volts = np.round(np.random.default_rng(5).normal(0.0, 0.002, ROWS), 5)
    order = np.arange(ROWS)
    if oddity == "no time":
        time[6000:6010] = pd.NaT
    elif oddity == "one stamp far off":
        time[6000] += pd.Timedelta(hours=2)
    elif oddity == "written twice":
        order = np.concatenate((order[:6000], order[5900:]))
    elif oddity == "ring buffer":
        order = np.roll(order, 3500)
    elif oddity == "clock set":
        time[:6000] -= pd.Timestamp("2031-03-03") - pd.Timestamp("2000-01-01")
    elif oddity == "coarse below":
        time[5000:] = time[5000:].dt.floor("5s")
    return pd.DataFrame({"time": time, "left_V": volts}).iloc[order]


@pytest.mark.parametrize("oddity", ["no time", "one stamp far off", "written twice", "ring buffer", "clock set", "coarse below"])
def test_odd_times_below_the_head_are_mended_in_a_table_as_in_text(oddity: str, tmp_path: Path):
    frame = _odd_times(oddity)
    frame.to_csv(tmp_path / "a.csv", index=False)
    frame.to_parquet(tmp_path / "a.parquet", index=False)
    text = read_log(tmp_path / "a.csv")
    assert len(text.runs) == 1
    assert [run.notes for run in text.runs] != [()]
    for table in (read_log(tmp_path / "a.parquet"), read_log(frame.reset_index(drop=True))):
        assert [(run.samples, run.duration_s, run.notes) for run in table.runs] == [(run.samples, run.duration_s, run.notes) for run in text.runs]
        pd.testing.assert_frame_equal(table.to_frame(), text.to_frame())


def test_times_that_follow_each_other_leave_a_table_where_it_is(tmp_path: Path):
    frame = _odd_times("none")
    frame.to_parquet(tmp_path / "a.parquet", index=False)
    assert isinstance(open_source(tmp_path / "a.parquet", Wishes()), ColumnarSource)
