"""The benchmark's own comparison with a record of before. Figures invented."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent / "benchmarks"))
from run import BARE, END, LIBRARIES, OURS, PASS, regressions


def test_a_ratio_15_percent_larger_is_told_and_a_smaller_growth_is_not():
    before = {"csv": [2.0, 2.1, 1.9], "parquet": [1.5], "scan": [1.8]}
    assert regressions({"csv": [2.25, 2.3, 2.2], "parquet": [1.7], "scan": [1.8]}, before) == []
    told = regressions({"csv": [2.4, 2.35, 2.5], "parquet": [1.5], "scan": [1.0]}, before)
    assert len(told) == 1
    assert told[0].startswith("csv: 2.40 (2.35 to 2.50), was 2.00")


def test_a_ratio_that_is_no_longer_measured_is_told():
    assert regressions({}, {"csv": [2.0]}) == ["not measured now: csv"]


@pytest.mark.parametrize("code", [BARE, LIBRARIES, OURS, PASS])
def test_what_is_timed_still_runs(code, monkeypatch, capsys):
    demo = Path(__file__).parents[1] / "demo_data" / "two_minutes.csv"
    monkeypatch.setattr(sys, "argv", ["run", "assess", str(demo), "--json"] if code is OURS else ["run", str(demo)])
    exec(code + END, {})
    assert '"inside": ' in capsys.readouterr().err
