"""Workbooks (.xlsx) read as text logs are; written here with openpyxl, so that cells are what a spreadsheet saves. Invented data."""

from __future__ import annotations

from datetime import datetime, time, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from flicker import LogError, read_log

openpyxl = pytest.importorskip("openpyxl", reason="the extra 'xlsx' is not installed")

N = 40
LEFT = [round(12 + 0.125 * (k % 5), 3) for k in range(N)]  # three digits behind the point, as thousands have
LEFT[20] = 2500.0
START = datetime(2031, 3, 5, 23, 59, 50)


def book(path: Path, *rows: list[Any], more: tuple[str, ...] = ()) -> Path:
    workbook = openpyxl.Workbook()
    for row in rows:
        workbook.active.append(row)
    for title in more:
        workbook.create_sheet(title).append(["x"])
    workbook.save(path)
    return path


TIMES = {
    "seconds": ([0.5 * k for k in range(N)], 0.5, None),
    "dates": ([START + timedelta(seconds=k) for k in range(N)], 1.0, START),
    "times of day": ([(START + timedelta(seconds=k)).time() for k in range(N)], 1.0, None),
    "spans": ([timedelta(hours=23, seconds=3590 + k) for k in range(N)], 1.0, None),
}


@pytest.mark.parametrize("form", TIMES)
def test_a_sheet_reads_as_it_was_written(form: str, tmp_path: Path):
    times, step, start = TIMES[form]
    head = "time_s" if form == "seconds" else "Time"
    path = book(tmp_path / "bench.xlsx", ["Bench 4"], [head, "left [mV]", "State"], *([t, v, "OK"] for t, v in zip(times, LEFT, strict=True)))
    log = read_log(path)
    frame = log.to_frame()
    assert log.channels == ("left",)
    np.testing.assert_allclose(frame["left"], np.array(LEFT) / 1e3, rtol=1e-12)
    np.testing.assert_allclose(np.diff(frame["time_s"]), step, atol=1e-5)
    assert log.runs[0].start == start


def test_a_missing_cell_is_no_reading(tmp_path: Path):
    rows = [[0.5 * k, None if k == 7 else v] for k, v in enumerate(LEFT)]
    frame = read_log(book(tmp_path / "a.xlsx", ["time_s", "left_mV"], *rows)).to_frame()
    assert np.flatnonzero(np.isnan(frame["left"])).tolist() == [7]


def test_what_is_not_sure_is_asked(tmp_path: Path):
    rows = [[0.5 * k, v] for k, v in enumerate(LEFT)]
    with pytest.raises(LogError, match="--unit"):
        read_log(book(tmp_path / "a.xlsx", ["time_s", "left"], *rows))
    assert read_log(tmp_path / "a.xlsx", unit="mV").to_frame()["left"].max() == 2.5
    with pytest.raises(LogError, match="leave the one with the log"):
        read_log(book(tmp_path / "b.xlsx", ["time_s", "left_mV"], *rows, more=("Notes",)))
    rows[9][1] = "0,012"
    with pytest.raises(LogError, match=r"row 11.*turn it into a number"):
        read_log(book(tmp_path / "c.xlsx", ["time_s", "left_mV"], *rows))
    whole = (tmp_path / "a.xlsx").read_bytes()
    (tmp_path / "d.xlsx").write_bytes(whole.replace(b"<row", b"<raw"))
    (tmp_path / "d.xlsx").write_bytes(whole[:600] + bytes(200) + whole[800:])
    with pytest.raises(LogError, match=r"save it again|copy it again"):
        read_log(tmp_path / "d.xlsx")


def test_times_are_of_one_kind():
    assert {type(kind[0][0]) for kind in TIMES.values()} == {float, datetime, time, timedelta}
