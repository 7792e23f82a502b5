"""Blocks are exact, and nothing depends on how a source hands out its rows. All data are invented."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.lib.stride_tricks import sliding_window_view

from flicker.base.limits import Limits
from flicker.logs.model import ArraySource, Log
from flicker.signals import order_statistics
from flicker.signals.blocks import block_rows, reduce_log, split_blocks
from flicker.signals.order_statistics import group_quantiles, row_quantiles, running_median, sliding_medians
from flicker.signals.reduction import reduce_blocks
from flicker.signals.trace import RunTraces, trace_log
from flicker.simulate import simulate_log

READING = st.one_of(st.floats(-50, 50, width=32), st.sampled_from([np.nan, np.inf, -np.inf]))


@settings(max_examples=60, deadline=None)
@given(arrays(np.float64, st.tuples(st.integers(1, 70), st.sampled_from([1, 3, 10, 20])), elements=READING))
def test_blocks_hold_what_plain_numpy_says(values: np.ndarray) -> None:
    found = reduce_blocks(values)
    for row, low, high, mean, finite, under, over in zip(
        values, *(found[k] for k in ("low", "high", "mean", "finite", "over_low", "over_high")), strict=True
    ):
        good = row[np.isfinite(row)]
        assert finite == good.size
        assert (under, over) == (np.sum(row == -np.inf), np.sum(row == np.inf))
        if good.size:
            assert (low, high) == (good.min(), good.max())
            assert mean == pytest.approx(good.mean(), rel=1e-12, abs=1e-12)
        else:
            assert np.isnan([low, high, mean]).all()
    inside = found["middle"][np.isfinite(found["middle"])]
    assert np.all(inside >= found["low"][np.isfinite(found["low"])] - 1e-9)


def _cut(log: Log, rows: int) -> Log:
    source = log.source
    batches = list(source.batches())
    time_s = np.concatenate([batch.time_s for batch in batches])
    values = {name: np.concatenate([batch.values[k] for batch in batches]) for k, name in enumerate(source.channels)}
    return Log(ArraySource(source.name, time_s, values, source.start, batch_rows=rows))


def _facts(runs: list[RunTraces]) -> list[object]:
    out: list[object] = []
    for run in runs:
        out.append(run.run.to_dict())
        for trace in run.traces:
            excursions = [getattr(trace.excursions, name).tolist() for name in ("start_s", "end_s", "peak_V", "cut")]
            out.append([trace.sigma_V, trace.enter_V, trace.observed.tolist(), excursions, trace.life])
            out.append([gap.to_dict() for gap in trace.unobserved])
            out.append([trace.ranges.spans, trace.states])
            out.append(trace.residual_V.tolist())
    return out


@cache
def _whole(kind: str, options: tuple[tuple[str, object], ...]) -> tuple[Log, list[object]]:
    """A simulated log, and what is found in it in one piece."""
    log = simulate_log(kind, seed=5, **dict(options)).logs[0]  # type: ignore[arg-type]
    return log, _facts(trace_log(log, Limits()))


@pytest.mark.parametrize(
    ("kind", "options"),
    [
        ("noisy", {"hours": 0.3, "gaps": 3}),
        ("timer-nights", {"hours": 1.5, "on_h": 0.3, "off_h": 0.3, "rate_hz": 1.0}),
        ("lead-off", {"hours": 0.5, "away_s": 400.0}),
        ("relay-speaker-side", {"floating": False}),
        ("auto-range", {"hours": 0.5, "rate_per_h": 30.0}),
        ("noisy-popcorn", {"hours": 0.5, "rate_hz": 10.0}),
    ],
)
@pytest.mark.parametrize("rows", [1, 7, 997])
def test_results_do_not_depend_on_batches(kind: str, options: dict[str, object], rows: int) -> None:
    if rows == 1 and kind != "relay-speaker-side":
        rows = 3
    log, facts = _whole(kind, tuple(options.items()))
    assert _facts(trace_log(_cut(log, rows), Limits())) == facts


def test_splitting_restarts_the_clock_and_loses_nothing() -> None:
    bench = simulate_log("steady", hours=0.1, gaps=2, seed=3)
    whole = reduce_log(bench.logs[0])[0]
    first, second = split_blocks(whole, [100])
    assert second.begin_s[0] == 0.0
    assert second.offset_s == whole.begin_s[100] == second.run.offset_s
    assert first.run.samples + second.run.samples == whole.run.samples
    assert first.run.last == second.run.first
    for before, after, all_of in zip(first.channels, second.channels, whole.channels, strict=True):
        assert np.array_equal(np.concatenate((before.low, after.low)), all_of.low)
        assert before.sample_V.size + after.sample_V.size <= all_of.sample_V.size
    assert len(first.run.gaps) + len(second.run.gaps) == len(whole.run.gaps)


@pytest.mark.parametrize(
    ("cadence", "rows", "size"), [(0.001, None, 1000), (0.5, 1000, 2), (1.0, 1 << 20, 4), (5.0, 50, 1)]
)
def test_blocks_cover_a_second_unless_the_log_is_too_long(cadence: float, rows: int | None, size: int) -> None:
    assert block_rows(cadence, rows) == size


@settings(max_examples=60, deadline=None)
@given(
    arrays(np.float64, st.integers(30, 300), elements=st.floats(-3, 3, width=16)), st.sampled_from([3, 9, 15, 17, 27])
)
def test_the_running_median_is_numpys(values: np.ndarray, width: int) -> None:
    got = running_median(values, width)
    half = width // 2
    want = [np.median(values[k - half : k + half + 1]) for k in range(half, values.size - half)]
    assert got[half : values.size - half].tolist() == want
    assert set(got[:half]) == {want[0]} and set(got[values.size - half :]) == {want[-1]}


@settings(max_examples=60, deadline=None)
@given(arrays(np.int64, st.integers(1, 200), elements=st.integers(-4, 30)), st.randoms(use_true_random=False))
def test_quantiles_of_groups_are_those_of_each_group(group: np.ndarray, random: object) -> None:
    value = np.array([random.choice([-1.5, 0.0, 0.25, 2.0, 7.0]) for _ in group])  # type: ignore[attr-defined]
    for most in (order_statistics.MOST_SIZES, 0):  # table by table, and by two keys
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(order_statistics, "MOST_SIZES", most)
            numbers, (low, middle) = group_quantiles(group, value, (0.2, 0.5))
        assert numbers.tolist() == sorted(set(group.tolist()))
        for number, a, b in zip(numbers, low, middle, strict=True):
            own = np.sort(value[group == number])
            assert b == np.median(own)
            assert a == 0.5 * (own[int(0.2 * (own.size - 1))] + own[int(np.ceil(0.2 * (own.size - 1)))])


@settings(max_examples=40, deadline=None)
@given(arrays(np.float64, st.tuples(st.integers(1, 20), st.integers(2, 40)), elements=st.floats(-3, 3, width=16)))
def test_quantiles_of_rows_are_numpys(rows: np.ndarray) -> None:
    got = row_quantiles(rows, (0.1, 0.5, 0.9))
    assert np.allclose(got, np.quantile(rows, (0.1, 0.5, 0.9), axis=1), rtol=1e-14, atol=1e-15)
    assert np.array_equal(row_quantiles(rows[:, :1].repeat(3, axis=1), (0.3,))[0], rows[:, 0])  # equal values stay


@settings(max_examples=60, deadline=None)
@given(
    arrays(np.float64, st.integers(40, 400), elements=st.floats(-3, 3, width=16)),
    st.sampled_from([2, 4, 9, 16, 17, 31]),
)
def test_sliding_medians_are_numpys(values: np.ndarray, width: int) -> None:
    assert sliding_medians(values, width).tolist() == np.median(sliding_window_view(values, width), axis=1).tolist()
    values[7] = np.nan
    assert np.isnan(sliding_medians(values, width)[7])
