"""Parquet and Arrow logs, and the store behind text logs: any row again, whatever the pieces. Data are invented."""

from __future__ import annotations

from datetime import UTC, datetime, timezone
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pyarrow import csv, feather, parquet

from flicker.logs.model import Log, LogError
from flicker.logs.reading import open_source, read_log
from flicker.logs.reading.planning.columns import Wishes

N = 3000
RNG = np.random.default_rng(11)
TIME = 0.25 * np.arange(N)
LEFT, RIGHT = np.round(RNG.normal(12, 1, N), 3), np.round(RNG.normal(-4, 1, N), 3)
T0 = 1_772_755_190_123_456  # microseconds


def stamped(kind: pa.DataType) -> pa.Array:
    per = {"s": 1e-6, "ms": 1e-3, "us": 1, "ns": 1e3}[kind.unit]
    return pa.array(np.round((T0 + 1e6 * TIME) * per).astype(np.int64)).cast(kind)


TIMES = {
    "seconds": ("time_s", pa.array(TIME), None),
    "float32": ("time_s", pa.array(TIME.astype(np.float32)), None),
    "late seconds": ("time_s", pa.array(TIME + 1e6), None),
    "milliseconds": ("t_ms", pa.array((TIME * 1000).astype(np.int32)), None),
    "stamps, us": ("when", stamped(pa.timestamp("us")), datetime(2026, 3, 5, 23, 59, 50, 123456)),
    "stamps, ns, zone": (
        "when",
        stamped(pa.timestamp("ns", "UTC")),
        datetime(2026, 3, 5, 23, 59, 50, 123456, UTC),
    ),
    "epoch, ns": ("timestamp", pa.array(np.round((T0 + 1e6 * TIME) * 1e3).astype(np.int64)), "utc"),
    "clock": (
        "time",
        pa.array(np.round(86_390_000_000 + 1e6 * TIME).astype(np.int64) % 86_400_000_000).cast(pa.time64("us")),
        None,
    ),
    "duration": ("elapsed", pa.array(np.round(1e6 * TIME).astype(np.int64)).cast(pa.duration("us")), None),
    "words": ("time", stamped(pa.timestamp("us")).cast(pa.string()), datetime(2026, 3, 5, 23, 59, 50, 123456)),
}


@pytest.mark.parametrize("kind", TIMES)
@pytest.mark.parametrize("form", ["parquet", "feather"])
def test_every_kind_of_time_column(kind: str, form: str, tmp_path: Path):
    title, column, start = TIMES[kind]
    path = tmp_path / f"a.{form}"
    table = pa.table({title: column, "left_mV": LEFT, "right_mV": RIGHT})
    if form == "parquet":
        parquet.write_table(table, path, row_group_size=700)
    else:
        feather.write_feather(table, path, chunksize=700)
    log = read_log(path)
    frame = log.to_frame()
    np.testing.assert_allclose(frame["time_s"], TIME, atol=1e-6)
    np.testing.assert_array_equal(frame["left"], LEFT / 1000)
    if start == "utc":
        start = datetime(2026, 3, 5, 23, 59, 50, 123456, timezone.utc)  # noqa: UP017
    assert log.runs[0].start == start
    assert len(log.runs) == 1
    assert not log.runs[0].gaps


VALUES = {
    "float64": pa.array(LEFT),
    "float32": pa.array(LEFT.astype(np.float32)),
    "with nulls": pa.array(LEFT, mask=np.arange(N) % 7 == 3),
    "decimal": pa.array(LEFT).cast(pa.decimal128(12, 3)),
    "int16": pa.array(np.round(LEFT).astype(np.int16)),
    "int, nulls": pa.array(np.round(LEFT).astype(np.int64), mask=np.arange(N) % 7 == 3),
    "dictionary": pa.array(LEFT).dictionary_encode(),
    "words": pa.array(["OL" if k == 5 else f"{v} mV" for k, v in enumerate(LEFT)]),
    "SCPI": pa.array(np.where(np.arange(N) == 9, -9.9e37, np.where(np.arange(N) == 11, 9.91e37, LEFT))),
}


@pytest.mark.parametrize("kind", VALUES)
def test_every_kind_of_value_column(kind: str, tmp_path: Path):
    parquet.write_table(pa.table({"time_s": TIME, "left_mV": VALUES[kind]}), tmp_path / "a.parquet")
    got = read_log(tmp_path / "a.parquet").to_frame()["left"].to_numpy()
    expected = LEFT / 1000
    if "null" in kind:
        expected = np.where(np.arange(N) % 7 == 3, np.nan, expected)
    if "int" in kind:
        expected = np.round(expected * 1000) / 1000
    if kind == "words":
        expected[5] = np.inf
    if kind == "SCPI":
        expected[9], expected[11] = -np.inf, np.nan
    np.testing.assert_allclose(got, expected, rtol=1e-6 if kind == "float32" else 1e-15)


def sources(folder: Path):
    table = pa.table({"time_s": TIME, "left_mV": LEFT, "right_mV": RIGHT})
    parquet.write_table(table, folder / "a.parquet", row_group_size=701)
    feather.write_feather(table, folder / "a.feather", chunksize=333)
    csv.write_csv(table, folder / "a.csv")
    yield open_source(folder / "a.parquet", Wishes())
    yield open_source(folder / "a.feather", Wishes())
    yield open_source(folder / "a.csv", Wishes())
    yield open_source(folder / "a.csv", Wishes(), in_memory=0)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory):
    return list(sources(tmp_path_factory.mktemp("columnar")))


spans = st.lists(st.tuples(st.integers(0, N), st.integers(0, N)), min_size=1, max_size=8)


@settings(max_examples=60, deadline=None)
@given(spans, st.booleans(), st.sampled_from([None, (0,), (1,), (1, 0), ()]))
def test_any_rows_can_be_read_again_in_any_order(made, asked, time, channels):
    for source in made:
        for lo, hi in asked:
            parts = list(source.batches(lo, hi, time=time, channels=channels))
            got = [
                np.concatenate([p.values[k] for p in parts]) if parts else np.empty(0)
                for k in range(len(channels or ()))
            ]
            for k, place in enumerate(channels or ()):
                np.testing.assert_array_equal(got[k], (LEFT, RIGHT)[place][lo:hi] / 1000)
            if time and parts:
                assert parts[0].first == lo
                np.testing.assert_allclose(np.concatenate([p.time_s for p in parts]), TIME[lo:hi], rtol=1e-15)
            assert all((p.time_s is not None) == time for p in parts)


def test_all_forms_give_the_same_bits(made):
    frames = [Log(source).to_frame() for source in made]
    for frame in frames[1:]:
        assert frame.equals(frames[0])


def test_what_a_table_cannot_be(tmp_path: Path):
    path = tmp_path / "a.parquet"
    for table, wanted in (
        (pa.table({"time_s": TIME[:5], "left_mV": LEFT[:5]}), "5 samples are too few"),
        (pa.table({"time_s": TIME[:0], "left_mV": LEFT[:0]}), "no readings"),
        (pa.table({"time_s": TIME[::-1], "left_mV": LEFT}), "backwards throughout"),
        (pa.table({"time_s": TIME, "left_mV": np.full(N, np.nan)}), "single reading"),
        (pa.table({"time_s": TIME * 0, "left_mV": LEFT}), "all time stamps are equal"),
        (pa.table({"time_s": TIME, "left_mV": ["ok"] * N}), '"ok" is not a number'),
        (pa.table({"time_s": TIME, "left_mV": [*["1.5"] * (N - 1), "banana"]}), 'row 3000, column "left_mV": "banana"'),
        (pa.table({"a": [[1.0]] * N}), "no column of numbers"),
        (pa.table({"left_mV": LEFT}), "no column tells the time"),
        (pa.table({"time_s": TIME, "left": LEFT}), "unit='V' or unit='mV'"),
    ):
        parquet.write_table(table, path)
        with pytest.raises(LogError, match=wanted):
            list(read_log(path).sweep())
    feather.write_feather(pa.table({"time_s": TIME, "left_mV": LEFT}), path)
    path.write_bytes(path.read_bytes().replace(b"left_mV", b"left\xecmV"))
    with pytest.raises(LogError, match="damaged"):
        read_log(path)
    parquet.write_table(pa.table({"left_mV": LEFT}), path)
    assert read_log(path, sample_interval_s=0.25).runs[0].duration_s == TIME[-1]


def test_reading_needs_no_pandas_and_the_module_nothing_at_all(tmp_path: Path):
    import subprocess
    import sys

    csv.write_csv(pa.table({"time_s": TIME, "left_mV": LEFT}), tmp_path / "a.csv")
    parquet.write_table(pa.table({"time_s": TIME, "left_mV": LEFT}), tmp_path / "a.parquet")
    code = (
        "import sys, flicker.logs.reading as r\n"
        "assert not {'pandas', 'pyarrow', 'scipy'} & set(sys.modules)\n"
        f"for name in ('a.csv', 'a.parquet'): list(r.read_log({str(tmp_path)!r} + '/' + name).sweep())\n"
        "assert 'pandas' not in sys.modules"  # so that no version of pandas can read a log differently
    )
    subprocess.run([sys.executable, "-c", code], check=True, cwd=Path(__file__).parents[1])


def test_coarse_stamps_in_a_table_are_spread(tmp_path: Path):
    parquet.write_table(pa.table({"time_s": np.floor(TIME), "left_mV": LEFT}), tmp_path / "a.parquet")
    log = read_log(tmp_path / "a.parquet")
    np.testing.assert_allclose(log.to_frame()["time_s"], TIME, atol=1e-9)
