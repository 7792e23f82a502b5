"""Streamed and in one piece give the same result, to the last bit; memory stays flat. All data invented.

The exact reference of the scan is a loop over single readings, written from the definition (two thresholds, IEC
61000-4-30 manner); everything else is checked by comparing ways of reading one and the same log.
"""

import json
import os
import subprocess
import sys
import threading
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flicker import assess, read_log
from flicker.base.limits import Limits
from flicker.evidence.document.excursion_table import write_excursions
from flicker.logs.model import ArraySource, Log
from flicker.logs.reading import files, open_source
from flicker.logs.reading.planning.columns import Wishes
from flicker.signals.blocks import reduce_log
from flicker.signals.cache import BlockCache, CachedSource
from flicker.signals.excursions import Scanner
from flicker.signals.read_again import scan_run
from flicker.signals.spill_buffer import Stash

sys.path.insert(0, str(Path(__file__).parent / "benchmarks"))
from invented_logs import piece, write_csv, write_parquet

ROWS = 60_000


def bench(seed=0):
    """Ten minutes at 100 Hz: glitches, a long swing, missing and over-range readings, a gap, a late second stretch."""
    columns = piece(0, ROWS, glitches_per_h=300.0, step_s=0.01, seed=seed)
    time, left, right = (columns[name].copy() for name in ("time_s", "left_V", "right_V"))
    left[20_000:24_700] += 0.9  # 47 s, trips the relay
    left[24_690:24_800] = np.nan
    right[30_000:30_050] = np.inf
    right[40_010:40_013] = np.nan
    time[35_000:] += 7.0
    time[50_000:] += 1200.0
    return time, {"left": left, "right": right}


def document(log, **more):
    return json.dumps(assess(log, **more).to_dict())


@pytest.fixture(scope="module")
def whole():
    time, values = bench()
    return document(Log(ArraySource("log", time, values)))


@pytest.mark.parametrize("batch_rows", [1, 977, 4096, 30_001])
def test_batches_never_show(whole, batch_rows):
    time, values = bench()
    if batch_rows == 1:
        time, values = time[:3000], {name: column[:3000] for name, column in values.items()}
        whole = document(Log(ArraySource("log", time, values)))
    assert document(Log(ArraySource("log", time, values, batch_rows=batch_rows))) == whole


def test_channels_side_by_side_never_show(whole, monkeypatch):
    import flicker.signals.trace as module

    monkeypatch.setattr(module, "MANY_BLOCKS", 1)
    threads, real = set(), module.draft_trace

    def noted(*told):
        threads.add(threading.current_thread().name)
        return real(*told)

    monkeypatch.setattr(module, "draft_trace", noted)
    time, values = bench()
    assert document(Log(ArraySource("log", time, values))) == whole
    assert threads and threading.main_thread().name not in threads


@pytest.mark.parametrize("row_group", [1000, 13_337, ROWS])
def test_row_groups_never_show(whole, row_group, tmp_path):
    time, values = bench()
    path = tmp_path / "log"
    table = pa.table({"time_s": time, **{f"{name}_V": column for name, column in values.items()}})
    pq.write_table(table, path, row_group_size=row_group)
    streamed, in_memory = json.loads(document(read_log(path))), json.loads(whole)
    for key in ("start", "notes"):  # what only a file tells
        for run in (*streamed["runs"], *in_memory["runs"]):
            run.pop(key)
    assert streamed == in_memory


def test_spooled_text_equals_text_in_memory(tmp_path, monkeypatch):
    path = tmp_path / "log.csv"
    write_csv(path, ROWS, glitches_per_h=300.0)
    made, scratch = [], files.scratch
    monkeypatch.setattr(files, "scratch", lambda: made.append(scratch()) or made[-1])
    spooled, kept = (Log(open_source(path, Wishes(), in_memory=size)) for size in (1000, 1 << 30))
    assert len(made) == 1  # the first one's samples lie in a file
    assert document(spooled) == document(kept)


READINGS = [0.0, 4.5, 6.0, -6.0, 7.0, np.nan, np.inf]


def by_single_readings(time, values, borders, enter, leave, cadence):
    """Excursions from the definition: (start, end, largest sure deviation, cut) of each."""
    out, opened = [], None
    for k, (t, v) in enumerate(zip(time, values, strict=True)):
        if k in borders:
            if opened:
                out.append((opened[0], time[k - 1] + cadence, opened[1], True))
            opened = None
        if opened is None and abs(v) > enter:
            opened = [t, 0.0, k in borders]
        elif opened and abs(v) <= leave:
            out.append((opened[0], t, opened[1], opened[2]))
            opened = None
        if opened and np.isfinite(v):
            opened[1] = max(opened[1], abs(v))
    if opened:
        out.append((opened[0], time[-1] + cadence, opened[1], True))
    return out


@settings(max_examples=150, deadline=None)
@given(
    st.lists(st.tuples(st.sampled_from(READINGS), st.integers(1, 12)), min_size=1, max_size=30),
    st.sets(st.integers(1, 200), max_size=2),
    st.integers(1, 64),
    st.booleans(),
)
def test_scan_equals_a_loop_over_single_readings(steps, gaps, batch_rows, stash):
    # blocks of 10 readings; a block without any reading is a gap of its own, so such stretches are kept shorter
    values = np.concatenate([np.full(min(n, 4) if np.isnan(v) else n, v) for v, n in steps] + [np.zeros(20)])
    values[:1] = 0.0
    time = 0.1 * np.arange(values.size)
    for gap in gaps:
        time[gap:] += 5.0
    log = Log(Streamed("log", time, {"a": values}, batch_rows=batch_rows))
    kept = Stash(3.0, 5.0, 1.0) if stash else None
    found = []
    for blocks in reduce_log(log, kept):
        scanner = Scanner(lambda t: np.zeros(np.shape(t)), 5.0, 4.0, 0.1)
        found += [scan_run(log, blocks, [scanner])[0]]
    rows = [
        (row[0], row[1], abs(row[3]), bool(row[4]))
        for part in found
        for row in zip(part.start_s, part.end_s, part.peak_V, part.deviation_V, part.cut, strict=True)
    ]
    missing = long_missing(values, gaps)
    if missing:
        return
    expected = by_single_readings(time, values, {0, *(g for g in gaps if g < values.size)}, 5.0, 4.0, 0.1)
    assert len(rows) == len(expected)
    for row, (start, end, size, cut) in zip(rows, expected, strict=True):
        assert row[0] == pytest.approx(start) and row[1] == pytest.approx(end) and row[3] == cut
        assert row[2] == (size if size > 5.0 else 5.0)


class Streamed(ArraySource):
    """Like a file: not at hand as a whole, so that samples are kept for the second look."""


def long_missing(values, gaps):
    """Whether a block may hold no reading at all."""
    lost = np.flatnonzero(np.isnan(values))
    return any(np.isnan(values[max(0, g - 4) : g + 4]).any() for g in gaps) or (
        lost.size > 4 and np.max(np.diff(np.flatnonzero(~np.isnan(np.concatenate(([0.0], values, [0.0])))))) > 5
    )


def test_a_second_look_reads_nothing_and_says_the_same(tmp_path, monkeypatch):
    import flicker.logs.reading as reading
    import flicker.signals.cache as module

    time, values = bench()
    table = pa.table({"time_s": time, **{f"{name}_V": column for name, column in values.items()}})
    for path, folder in ((tmp_path / "log.parquet", None), (tmp_path / "log.csv", tmp_path / "kept" / "here")):
        if path.suffix == ".csv":
            write_csv(path, ROWS, glitches_per_h=300.0)
        else:
            pq.write_table(table, path)
        plain = document(path)
        cache = BlockCache(folder)
        assert document(path, cache=cache) == plain
        assert cache.place(path).exists()
        with monkeypatch.context() as patch:
            patch.setattr(module, "open_source", lambda *a: pytest.fail("read again"))
            patch.setattr(module, "read_log", lambda *a, **k: pytest.fail("read again"))
            assert document(path, cache=BlockCache(folder)) == plain
        # a lower threshold asks for samples that were not kept: those are read from the file
        low = Limits(excursion_V=0.020)
        assert document(path, cache=BlockCache(folder), limits=low) == document(path, limits=low)
        # another way of reading is another log
        other = BlockCache(folder).read(path, channels=["left"])
        assert document(other, cache=BlockCache(folder)) == document(reading.read_log(path, channels=["left"]))


@pytest.fixture(scope="module")
def striking(tmp_path_factory):
    """A log of many glitches, and what is said of it."""
    path = tmp_path_factory.mktemp("striking") / "log.csv"
    write_csv(path, 50_000, step_s=0.01, glitches_per_h=800.0)
    return path, document(path)


@pytest.mark.parametrize("held, spilt", [(0, 768 << 20), (200_000, 768 << 20), (0, 300_000), (0, 0)])
def test_where_the_striking_samples_lie_does_not_show(striking, tmp_path, monkeypatch, held, spilt):
    import flicker.signals.spill_buffer as module

    path, plain = striking
    monkeypatch.setattr(module, "MOST_BYTES", held)
    monkeypatch.setattr(module, "MOST_SPILT", spilt)
    cache = BlockCache(tmp_path / "kept")
    assert document(path) == plain
    assert document(path, cache=cache) == plain
    assert document(path, cache=cache) == plain
    kept = cache.place(path)
    data = bytearray(kept.read_bytes())
    data[-3000 if spilt > 1 << 20 else -1] ^= 255  # within the rows, or the end of the directory
    kept.write_bytes(data)
    assert document(path, cache=cache) == plain


def read_from_blocks(cache, path):
    return isinstance(cache.read(path).source, CachedSource)


def test_blocks_of_another_file_are_not_used(tmp_path):
    path = tmp_path / "log.parquet"
    write_parquet(path, 100_000, step_s=0.01)
    cache = BlockCache()
    first = document(path, cache=cache)
    assert read_from_blocks(cache, path)
    kept = cache.place(path)
    kept.write_bytes(kept.read_bytes()[: kept.stat().st_size // 2])  # damaged
    assert not read_from_blocks(cache, path)
    assert document(path, cache=cache) == first
    assert read_from_blocks(cache, path)  # written anew
    write_parquet(path, 100_000, step_s=0.01, glitches_per_h=400.0)
    assert not read_from_blocks(cache, path)
    assert document(path, cache=cache) == document(path) != first


def test_only_verifying_sees_a_byte_changed_in_the_middle_under_the_old_time(tmp_path):
    path = tmp_path / "log.csv"
    write_csv(path, 160_000)
    assert path.stat().st_size > 3 << 20
    for verify in (False, True):
        cache = BlockCache(tmp_path / str(verify), verify=verify)
        assess(path, cache=cache)
        stamp = path.stat()
        with path.open("r+b") as file:
            file.seek(3 << 19)
            byte = file.read(1)
            file.seek(3 << 19)
            file.write(b"1" if byte != b"1" else b"2")
        os.utime(path, ns=(stamp.st_atime_ns, stamp.st_mtime_ns))
        assert read_from_blocks(cache, path) != verify


def test_listed_excursions_are_the_weightiest_and_the_table_holds_all(tmp_path):
    time, values = bench()
    log = Log.from_arrays(time, values)
    every, few = assess(log), assess(log, excursions_listed=3)
    for long, short in zip(every.channels, few.channels, strict=True):
        assert short.excursions_total == long.excursions_total == len(long.excursions) > 3
        heavy = [row for row in long.excursions if abs(row.peak_V) > 0.75 and row.duration_s >= 0.1]
        largest = sorted(long.excursions, key=lambda row: (row not in heavy, -abs(row.deviation_V)))[:3]
        assert list(short.excursions) == sorted(largest, key=lambda row: (row.run, row.start_s))
    out = tmp_path / "all.parquet"
    assert write_excursions(few, out) == sum(c.excursions_total for c in every.channels)
    rows = pq.read_table(out).to_pylist()
    assert rows == [{"channel": c.channel, **row.to_dict()} for c in every.channels for row in c.excursions]


# Not ru_maxrss: that one begins with the size of the process that forked.
MEASURED = (
    "import sys; from flicker.cli import main; code = main(['assess', sys.argv[1], '--json']);"
    "print(code, *[x.split()[1] for x in open('/proc/self/status') if x.startswith('VmHWM')], file=sys.stderr)"
)


def peak_MiB(path):
    done = subprocess.run(
        [sys.executable, "-c", MEASURED, path], stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True, check=True
    )
    code, peak = done.stderr.split()[-2:]
    assert code == "0", done.stderr
    return float(peak) / 1024


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="memory is read from the proc file system")
def test_memory_stays_flat(tmp_path):
    # asked: under 400 MiB whatever the length. Resident memory as the operating system counts it; one row group of
    # 4 million rows holds 96 MB of numbers.
    short, long = tmp_path / "short.parquet", tmp_path / "long.parquet"
    write_parquet(short, 1 << 20)
    write_parquet(long, 4 << 20, row_group=4 << 20, glitches_per_h=3600.0)
    small, large = peak_MiB(short), peak_MiB(long)
    assert large < 400 and large - small < 150
