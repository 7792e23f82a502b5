"""Numbers that a logger writes in place of a reading: -999.9, 9999 and 65535 (findings G7 and H1 of fresh eyes; the logs are invented)."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from pyarrow import parquet

import flicker

CODE = 3  # the row that holds it


def file_of(kind: str, folder: Path) -> tuple[Path, str]:
    """Twelve readings of a channel, one of them a code, as loggers write them; the file and how the code is told."""
    rows = [f"{x:.4f}" for x in np.linspace(0.0041, 0.0052, 12)]
    rows[CODE], path, told = "-999.9", folder / f"{kind}.csv", "-999.9"
    if kind == "table":  # of single precision, which does not hold -999.9
        table = pa.table({"time_s": np.arange(12.0), "left_V": pa.array([float(x) for x in rows], pa.float32())})
        parquet.write_table(table, path.with_suffix(".parquet"))
        return path.with_suffix(".parquet"), told
    part, sign = (";", ",") if kind in ("comma", "point told") else (",", ".")
    if kind == "more digits":
        rows[CODE] = "-999.9000"
    if kind == "unit in cells":
        rows = [f"{x} V" for x in rows]
    if kind == "odd sign":
        rows[CODE] = "- 999.9"
    lines = [f"{k}{part}{x.replace('.', sign)}" for k, x in enumerate(rows)]
    path.write_text("\n".join([f"time_s{part}left" + ("" if kind == "unit in cells" else "_V"), *lines]) + "\n")
    return path, "-999,9" if kind == "comma" else told


@pytest.mark.parametrize("kind", ["plain", "more digits", "odd sign", "comma", "point told", "unit in cells", "table"])
def test_a_word_that_is_a_number_is_compared_as_one(kind: str, tmp_path: Path) -> None:
    path, word = file_of(kind, tmp_path)

    def left(**told: list[str]) -> np.ndarray:
        return np.concatenate([piece.values[0] for piece in flicker.read_log(path, **told).sweep()])

    as_read, missing, over = left(), left(missing_words=[word]), left(over_words=[word])
    assert as_read[CODE] == pytest.approx(-999.9)
    assert np.isnan(missing[CODE])
    assert np.isposinf(over[CODE])
    others = np.arange(12) != CODE
    assert np.array_equal(missing[others], as_read[others])
    assert np.array_equal(over[others], as_read[others])


def test_a_number_told_is_no_time(tmp_path: Path) -> None:
    """The second 5 stays where it is; only the reading 5 is none."""
    path = tmp_path / "log.csv"
    path.write_text("time_s,left_mV\n" + "".join(f"{k},{5 if k == 7 else 3.25}\n" for k in range(12)))
    pieces = list(flicker.read_log(path, missing_words=["5"]).sweep())
    assert np.array_equal(np.concatenate([piece.time_s for piece in pieces]), np.arange(12.0))
    assert np.flatnonzero(np.isnan(np.concatenate([piece.values[0] for piece in pieces]))).tolist() == [7]


def a_log(value_V: float, rows: np.ndarray) -> flicker.Log:
    """Four hours of a sound output, where ``rows`` hold a value instead."""
    rng = np.random.default_rng(103)
    volts = np.round(0.004 + 0.0004 * rng.standard_normal(7200), 5)
    volts[rows] = value_V
    return flicker.read_log({"time": 2.0 * np.arange(7200), "left": volts})


def test_a_value_that_stands_again_and_again_is_asked_about_and_stays_volts() -> None:
    rows = np.arange(200, 7000, 700)
    found = flicker.assess(a_log(9999.0, rows))
    told = [text for text in found.cautions if "--missing-word" in text]
    assert len(told) == 1
    assert "the value 9999 V stands 10 times" in told[0]
    assert "--missing-word 9999" in told[0]
    assert not any("millivolts" in text for text in found.cautions)  # 'readings up to 9999 V: mV?'
    assert found.channels[0].fitness == "do not connect"


@pytest.mark.parametrize("kind", ["latched at a rail", "swings of their own sizes", "once"])
def test_what_is_no_code_is_not_asked_about(kind: str) -> None:
    rows = np.arange(200, 7000, 700)
    value: float | np.ndarray = 19.0
    if kind == "latched at a rail":
        rows = np.arange(3000, 3450)
    elif kind == "once":
        rows = rows[:1]
    else:
        value = np.linspace(3.0, 19.0, rows.size)
    found = flicker.assess(a_log(value, rows))  # type: ignore[arg-type]
    assert not any("--missing-word" in text for text in found.cautions)
    assert found.channels[0].fitness == "do not connect"
