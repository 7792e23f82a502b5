"""The benchmark's own comparison with a record of before. Figures invented."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent / "benchmarks"))
from run import regressions


def test_a_ratio_15_percent_larger_is_told_and_a_smaller_growth_is_not():
    before = {"csv": [2.0, 2.1, 1.9], "parquet": [1.5], "scan": [1.8]}
    assert regressions({"csv": [2.25, 2.3, 2.2], "parquet": [1.7], "scan": [1.8]}, before) == []
    told = regressions({"csv": [2.4, 2.35, 2.5], "parquet": [1.5], "scan": [1.0]}, before)
    assert len(told) == 1
    assert told[0].startswith("csv: 2.40 (2.35 to 2.50), was 2.00")


def test_a_ratio_that_is_no_longer_measured_is_told():
    assert regressions({}, {"csv": [2.0]}) == ["not measured now: csv"]
