"""Logs as loggers write them: what is read from each form, and what is said about it. All data here are invented."""

from __future__ import annotations

import gzip
import math
import struct
import zipfile
from datetime import datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pytest

from flicker.logs.model import Log, LogError
from flicker.logs.reading import read_log

N = 40
LEFT = [12.3, -4.05, 0.5, 118.25] * (N // 4)  # millivolts
RIGHT = [-1.5, 3.25, 0.25, -0.75] * (N // 4)


def write(tmp_path: Path, text: str | bytes, name: str = "bench.csv") -> Path:
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def columns(log: Log) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    frame = log.to_frame()
    return frame["time_s"].to_numpy(), {name: frame[name].to_numpy() for name in log.channels}


def table(header: str, times, *, cells=lambda v: f"{v}", sep: str = ",", end: str = "\n", before: str = "") -> str:
    lines = [header] if header else []
    lines += [sep.join([t, cells(a), cells(b)]) for t, a, b in zip(times, LEFT, RIGHT, strict=True)]
    return before + end.join(lines) + end


def half_seconds(k: int) -> str:
    return f"{0.5 * k}"


SECONDS = [half_seconds(k) for k in range(N)]
DAY = datetime(2026, 3, 5, 23, 59, 50)


def stamps(form: str, start: datetime = DAY) -> list[str]:
    return [(start + timedelta(seconds=0.5 * k)).strftime(form) for k in range(N)]


def comma(v: float) -> str:
    return str(v).replace(".", ",")


FORMS = {
    "plain": table("time_s,left_mV,right_mV", SECONDS),
    "brackets": table("Time (s),left (mV),right [mV]", SECONDS),
    "micro": table("t [s];left (µV);right_uV", SECONDS, sep=";", cells=lambda v: f"{v * 1000:.1f}"),
    "volts": table("time_s,left_V,right_V", SECONDS, cells=lambda v: f"{v / 1000:.5f}"),
    "kilovolts": table("time_s,left_kV,right_kV", SECONDS, cells=lambda v: f"{v / 1e6:.8f}"),
    "din style": table("t/s;left/mV;right/mV", SECONDS, sep=";"),
    "unit line": table("time,left,right", SECONDS, before="").replace("right\n", "right\ns,mV,mV\n"),
    "unit in heading": "Device: bench meter 3\nUnit: mV\n\n" + table("time_s,left,right", SECONDS),
    "units in cells": table("time_s,left,right", SECONDS, cells=lambda v: f"{v} mV"),
    "mixed units in cells": table(
        "time_s,left,right", SECONDS, cells=lambda v: f"{v} mV" if abs(v) < 100 else f"{v / 1e3} V"
    ),
    "comment preamble": "# shop: somewhere\n# rate = 2 per second\n" + table("time_s,left_mV,right_mV", SECONDS),
    "commented header": table("# time_s,left_mV,right_mV", SECONDS, before="# invented\n"),
    "key-value preamble": "Model,XY 12\nSerial,0042\nStart,2026-03-05\n" + table("time_s,left_mV,right_mV", SECONDS),
    "tabs": table("time_s\tleft_mV\tright_mV", SECONDS, sep="\t"),
    "aligned by spaces": table("time_s   left_mV   right_mV", SECONDS, sep="    "),
    "pipes": table("time_s|left_mV|right_mV", SECONDS, sep="|"),
    "semicolon, decimal comma": table("time_s;left_mV;right_mV", [comma(t) for t in SECONDS], sep=";", cells=comma),
    "tab, decimal comma": table("time_s\tleft_mV\tright_mV", [comma(t) for t in SECONDS], sep="\t", cells=comma),
    "quoted decimal comma": table(
        '"time_s","left_mV","right_mV"', [f'"{comma(t)}"' for t in SECONDS], cells=lambda v: f'"{comma(v)}"'
    ),
    "all quoted": table('"time_s","left_mV","right_mV"', [f'"{t}"' for t in SECONDS], cells=lambda v: f'"{v}"'),
    "plus signs": table("time_s,left_mV,right_mV", SECONDS, cells=lambda v: f"{v:+.2f}"),
    "exponents": table("time_s,left_V,right_V", SECONDS, cells=lambda v: f"{v / 1000:+.6E}"),
    "thousands": table("time_s;left_uV;right_uV", SECONDS, sep=";", cells=lambda v: f"{v * 1000:,.1f}"),
    "thousands, decimal comma": table(
        "time_s;left_uV;right_uV",
        [comma(t) for t in SECONDS],
        sep=";",
        cells=lambda v: f"{v * 1000:,.1f}".translate(str.maketrans(",.", ".,")),
    ),
    "crlf": table("time_s,left_mV,right_mV", SECONDS, end="\r\n"),
    "cr only": table("time_s,left_mV,right_mV", SECONDS, end="\r"),
    "bom": "\ufeff" + table("time_s,left_mV,right_mV", SECONDS),
    "blank lines": table("time_s,left_mV,right_mV", SECONDS, end="\n\n"),
    "trailing separator": table("time_s,left_mV,right_mV", SECONDS, cells=lambda v: f"{v}", end=",\n"),
    "milliseconds": table("t_ms,left_mV,right_mV", [f"{500 * k}" for k in range(N)]),
    "minutes": table("elapsed (min),left_mV,right_mV", [f"{k / 120:.9f}" for k in range(N)]),
    "epoch seconds": table("timestamp,left_mV,right_mV", [f"{1772755190 + 0.5 * k:.3f}" for k in range(N)]),
    "epoch milliseconds": table("timestamp,left_mV,right_mV", [f"{1772755190000 + 500 * k}" for k in range(N)]),
    "iso": table("time,left_mV,right_mV", stamps("%Y-%m-%dT%H:%M:%S.%f")),
    "iso, space": table("time,left_mV,right_mV", stamps("%Y-%m-%d %H:%M:%S.%f")),
    "iso, zone": table("time,left_mV,right_mV", stamps("%Y-%m-%dT%H:%M:%S.%f+01:00")),
    "iso, Z": table("time,left_mV,right_mV", stamps("%Y-%m-%dT%H:%M:%S.%fZ")),
    "iso, decimal comma": table("time;left_mV;right_mV", stamps("%Y-%m-%d %H:%M:%S,%f"), sep=";", cells=comma),
    "seven digits": table("time,left_mV,right_mV", stamps("%Y-%m-%dT%H:%M:%S.%f0")),
    "german date": table("Zeit;left_mV;right_mV", stamps("%d.%m.%Y %H:%M:%S,%f"), sep=";", cells=comma),
    "slashes, day over 12": table("time,left_mV,right_mV", stamps("%d/%m/%Y %H:%M:%S.%f", DAY + timedelta(days=10))),
    "slashes, night": table("time,left_mV,right_mV", stamps("%m/%d/%Y %H:%M:%S.%f")),
    "am pm": table("time,left_mV,right_mV", stamps("%m/%d/%Y %I:%M:%S.%f %p")),
    "month name": table("time,left_mV,right_mV", stamps("%d-%b-%Y %H:%M:%S.%f")),
    "compact": table("time,left_mV,right_mV", stamps("%Y%m%dT%H%M%S.%f")),
    "clock past midnight": table("time,left_mV,right_mV", stamps("%H:%M:%S.%f")),
    "date and time": table("Date,Time,left_mV,right_mV", stamps("%Y-%m-%d,%H:%M:%S.%f")),
    "date and time, spaces": table("Date Time left_mV right_mV", stamps("%Y-%m-%d %H:%M:%S.%f"), sep=" "),
    "rate in heading": "Sample rate: 2 Hz\n" + table("n,left_mV,right_mV", [str(k) for k in range(N)]),
    "other columns": table(
        "no,time_s,status,temperature_C,left_mV,right_mV", [f"{k},{0.5 * k},ok,{20 + k % 3}.5" for k in range(N)]
    ),
    "comments among readings": table("time_s,left_mV,right_mV", SECONDS).replace(
        "\n10.0,", "\n# touched the case\n10.0,"
    ),
    "header again": table("time_s,left_mV,right_mV", SECONDS).replace("\n10.0,", "\ntime_s,left_mV,right_mV\n10.0,"),
    "whole heading again": "# meter\n"
    + table("time_s,left_mV,right_mV", SECONDS).replace("\n10.0,", "\n# meter\ntime_s,left_mV,right_mV\n10.0,"),
    "cut last line": table("time_s,left_mV,right_mV", SECONDS) + "20.0,1",
    "NUL tail": table("time_s,left_mV,right_mV", SECONDS) + "\0" * 512,
    "run column": table("run,time_s,left_mV,right_mV", [f"a,{t}" for t in SECONDS]),
}


@pytest.mark.parametrize("form", FORMS)
def test_every_form_of_one_log_reads_alike(form: str, tmp_path: Path):
    log = read_log(write(tmp_path, FORMS[form]))
    time, values = columns(log)
    assert log.channels == ("left", "right")
    assert len(log.runs) == 1
    np.testing.assert_allclose(time, 0.5 * np.arange(N), atol=2e-6)
    np.testing.assert_allclose(values["left"], np.array(LEFT) / 1e3, rtol=1e-12)
    np.testing.assert_allclose(values["right"], np.array(RIGHT) / 1e3, rtol=1e-12)
    assert log.runs[0].sample_interval_s == pytest.approx(0.5)
    assert not log.runs[0].gaps


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be", "utf-8-sig", "cp1252"])
def test_encodings(encoding: str, tmp_path: Path):
    text = table("Zeit (s);left (µV);right (µV)", SECONDS, sep=";", cells=lambda v: f"{v * 1000:.1f}")
    log = read_log(write(tmp_path, text.encode(encoding)))
    np.testing.assert_allclose(columns(log)[1]["left"], np.array(LEFT) / 1e3, rtol=1e-12)


@pytest.mark.parametrize(
    ("form", "start"),
    [
        ("iso", DAY),
        ("iso, Z", DAY.replace(tzinfo=timezone.utc)),  # noqa: UP017
        ("iso, zone", (DAY - timedelta(hours=1)).replace(tzinfo=timezone.utc)),  # noqa: UP017
        ("german date", DAY),
        ("slashes, night", DAY),
        ("am pm", DAY),
        ("month name", DAY),
        ("date and time", DAY),
        ("clock past midnight", None),
        ("epoch milliseconds", datetime(2026, 3, 5, 23, 59, 50, tzinfo=timezone.utc)),  # noqa: UP017
        ("plain", None),
    ],
)
def test_the_start_is_told_where_the_file_tells_it(form: str, start: datetime | None, tmp_path: Path):
    assert read_log(write(tmp_path, FORMS[form])).runs[0].start == start


def test_words_of_meters_become_missing_or_over_range(tmp_path: Path):
    # 9.9E37 and 9.91E37: SCPI-99 vol. 1, 7.2.1.4 and 7.2.1.5 (from memory); the words: common practice, no source
    words = [
        "OL",
        "-OL",
        "+OVLD",
        "9.9E37",
        "-9.9E+37",
        "9.91E37",
        "",
        "NaN",
        "---",
        "OVERLOAD",
        "inf",
        "-1e400",
        "n/a",
        "O.L",
    ]
    expected = [
        math.inf,
        -math.inf,
        math.inf,
        math.inf,
        -math.inf,
        *[math.nan] * 4,
        *[math.inf] * 2,
        -math.inf,
        math.nan,
        math.inf,
    ]
    lines = [f"{k},{word}" for k, word in enumerate([*words, *["0.25"] * 10])]
    _, values = columns(read_log(write(tmp_path, "time_s,left_mV\n" + "\n".join(lines) + "\n")))
    np.testing.assert_array_equal(values["left"][: len(words)], expected)
    np.testing.assert_array_equal(values["left"][len(words) :], [0.00025] * 10)


def test_letters_name_outputs_beside_letters_that_do(tmp_path: Path):
    path = tmp_path / "bench.csv"
    path.write_text("t_s,L_mV,R_mV,C_mV,S_mV\n" + "".join(f"{0.5 * k},1.5,2.5,3.5,4.5\n" for k in range(40)))
    assert read_log(path).channels == ("L", "R", "C", "S")


@pytest.mark.parametrize(
    ("header", "names"),
    [
        ("t_s,left_mV,Right (mV)", ("left", "Right")),
        ("t_s,CH1 [V],CH2 [V]", ("CH1", "CH2")),
        ("t_s,mV,mV", ("ch1", "ch2")),
        ("t_s,left_mV,left_mV", ("left_mV", "left_mV 2")),
        ("t_s,left +_mV,left -_mV", ("left +", "left")),
        ("t_s,left woofer_mV,left_mV", ("left woofer", "left")),
        ("t_s,amp A mVDC,amp B mVDC", ("amp A", "amp B")),
    ],
)
def test_names_keep_the_users_words_without_the_unit(header: str, names: tuple[str, ...], tmp_path: Path):
    assert read_log(write(tmp_path, table(header, SECONDS))).channels == names


UNITLESS = {
    "small volts": (lambda v: f"{v / 1000:.4f}", "V"),
    "whole numbers": (lambda v: f"{round(v)}", None),  # 48 is a rail on the output, or 48 mV
    "tenths": (lambda v: f"{v:.1f}", None),
    "beyond any rail": (lambda v: f"{v * 10:.3f}", None),
    "fine digits, far from zero": (lambda v: f"{v:.4f}", None),
    "could be both": (lambda v: f"{v:.3f}", None),
    "two digits": (lambda v: f"{v / 100:.2f}", None),
}


@pytest.mark.parametrize("case", UNITLESS)
def test_a_unit_not_stated_is_told_by_evidence_or_asked_for(case: str, tmp_path: Path):
    cells, unit = UNITLESS[case]
    path = write(tmp_path, table("time_s,left,right", SECONDS, cells=cells))
    numbers = np.array([float(cells(v)) for v in LEFT])
    if unit is None:
        with pytest.raises(LogError, match="unit='V' or unit='mV'"):
            read_log(path)
    else:
        log = read_log(path)
        np.testing.assert_allclose(columns(log)[1]["left"], numbers / (1e3 if unit == "mV" else 1.0))
        assert any(f"taken as {unit}" in note for note in log.runs[0].notes)
    np.testing.assert_allclose(columns(read_log(path, unit="mV"))[1]["left"], numbers / 1e3)
    np.testing.assert_allclose(columns(read_log(path, unit="V"))[1]["left"], numbers)


def test_what_is_no_channel_is_left_out_and_named(tmp_path: Path):
    log = read_log(write(tmp_path, FORMS["other columns"]))
    assert any(all(f'"{w}"' in note for w in ("no", "status")) for note in log.runs[0].notes)
    assert any('"temperature_C" was read as a temperature' in note for note in log.runs[0].notes)
    assert [(item.name, item.role) for item in log.companions] == [("temperature", "temperature")]
    plain = table(
        "time_s,mark,temperature,left,right", [f"{t},,{21.5}" for t in SECONDS], cells=lambda v: f"{v / 1e3:.5f}"
    )
    assert read_log(write(tmp_path, plain)).channels == ("left", "right")


def test_channels_are_chosen_by_either_name(tmp_path: Path):
    path = write(tmp_path, FORMS["other columns"])
    assert read_log(path, channels=["right_mV"]).channels == ("right",)
    assert read_log(path, channels=["right", "left"]).channels == ("right", "left")
    np.testing.assert_allclose(columns(read_log(path, channels=["right", "left"]))[1]["left"], np.array(LEFT) / 1e3)
    with pytest.raises(LogError, match='no column "rear"'):
        read_log(path, channels=["rear"])


def test_no_header_no_time_but_an_interval(tmp_path: Path):
    lines = "\n".join(f"{a / 1e3:.5f},{b / 1e3:.5f}" for a, b in zip(LEFT, RIGHT, strict=True))
    path = write(tmp_path, lines + "\n")
    with pytest.raises(LogError, match="sample_interval_s"):
        read_log(path)
    log = read_log(path, sample_interval_s=0.25)
    time, values = columns(log)
    assert log.channels == ("ch1", "ch2")
    np.testing.assert_allclose(time, 0.25 * np.arange(N))
    np.testing.assert_allclose(values["ch2"], np.array(RIGHT) / 1e3)


def test_no_header_with_a_time(tmp_path: Path):
    path = write(tmp_path, table("", SECONDS, cells=lambda v: f"{v / 1e3:.5f}"))
    with pytest.raises(LogError, match="time_unit='ms'"):  # 0.5 may be of a second, a minute or an hour
        read_log(path)
    log = read_log(path, time_unit="s")
    assert log.channels == ("ch1", "ch2")
    np.testing.assert_allclose(columns(log)[0], 0.5 * np.arange(N))


@pytest.mark.parametrize("sep", [";", "\t"])
def test_one_channel_and_sixteen(sep: str, tmp_path: Path):
    for count in (1, 16):
        header = sep.join(["time_s", *(f"out{k}_mV" for k in range(count))])
        rows = [sep.join([half_seconds(k), *(f"{k + 0.1 * j:.1f}" for j in range(count))]) for k in range(N)]
        log = read_log(write(tmp_path, "\n".join([header, *rows]) + "\n"))
        assert log.channels == tuple(f"out{k}" for k in range(count))
        np.testing.assert_allclose(columns(log)[1][f"out{count - 1}"], (np.arange(N) + 0.1 * (count - 1)) / 1e3)
    header, rows = sep.join(["time_s", *(f"out{k}_mV" for k in range(17))]), [sep.join([str(k)] * 18) for k in range(N)]
    with pytest.raises(LogError, match="more than 16"):
        read_log(write(tmp_path, "\n".join([header, *rows]) + "\n"))


AMBIGUOUS = {
    "day or month": (
        table("time,left_mV,right_mV", stamps("%m/%d/%Y %H:%M:%S.%f", datetime(2026, 3, 4, 10))),
        "day_first",
    ),
    "decimal or thousands": (
        table("time_s;left_uV;right_uV", SECONDS, sep=";", cells=lambda v: "1,234")
        .replace(".5;", ";")
        .replace(".0;", ";"),
        "decimal",
    ),
    "seconds or milliseconds": (table("time,left_mV,right_mV", [str(100 * k) for k in range(N)]), "time_unit"),
    "hours or minutes": (
        table("time,left_mV,right_mV", [f"{k // 60:02d}:{k % 60:02d}" for k in range(N)]),
        "sample_interval_s",
    ),
    "unequal header": (table("time_s,left_mV", SECONDS), "name every column"),
}


@pytest.mark.parametrize("case", AMBIGUOUS)
def test_without_evidence_the_choices_are_named(case: str, tmp_path: Path):
    text, wanted = AMBIGUOUS[case]
    with pytest.raises(LogError, match=wanted):
        read_log(write(tmp_path, text))


def test_an_argument_settles_what_the_file_leaves_open(tmp_path: Path):
    path = write(tmp_path, AMBIGUOUS["day or month"][0])
    assert read_log(path, day_first=True).runs[0].start == datetime(2026, 4, 3, 10)
    assert read_log(path, day_first=False).runs[0].start == datetime(2026, 3, 4, 10)
    path = write(tmp_path, AMBIGUOUS["seconds or milliseconds"][0])
    assert read_log(path, time_unit="ms").runs[0].duration_s == pytest.approx(3.9)
    assert read_log(path, time_unit="s").runs[0].duration_s == pytest.approx(3900.0)
    path = write(tmp_path, "time_s;left_uV\n" + "".join(f"{k};1,234\n" for k in range(N)))
    assert columns(read_log(path, decimal=","))[1]["left"][0] == pytest.approx(1.234e-6)
    assert columns(read_log(path, decimal="."))[1]["left"][0] == pytest.approx(1.234e-3)


BAD = {
    "empty": (b"", "is empty"),
    "header only": (b"time_s,left_mV\n", "no readings"),
    "no log": (b"It was a dark night.\nThe amplifier hummed.\n" * 10, "no log"),
    "letters": (
        "time_s,left_mV\n" + "".join(f"{k},1.5\n" for k in range(20)) + "20,banana\n21,1\n",
        'line 22, column "left_mV": "banana"',
    ),
    "text channel": (
        "time_s,left_mV\n" + "".join(f"{k},ok\n" for k in range(20)),
        'line 2, column "left_mV": "ok" is not a number',
    ),
    "backwards": (table("time_s,left_mV,right_mV", SECONDS[::-1]), "backwards throughout"),
    "few": ("time_s,left_mV\n" + "".join(f"{k},1.5\n" for k in range(9)), "9 samples are too few"),
    "binary": (bytes(range(256)) * 40, "binary"),
    "unit": (table("time_s,left (furlong),right (furlong)", SECONDS), '"furlong" is not understood'),
    "nan": ("time_s,left_mV\n" + "".join(f"{k},NaN\n" for k in range(20)), "single reading"),
    "equal": (table("time_s,left_mV,right_mV", ["5.0"] * N), "all time stamps are equal"),
    "bad time": (
        table("time,left_mV,right_mV", stamps("%Y-%m-%dT%H:%M:%S")).replace("00:00:05", "00:61:05"),
        "is not a time",
    ),
    "year 0": (table("time,left_mV,right_mV", ["0000-00-00 00:00:00"] * N), "is not a time|no log"),
    "columns change": (
        table("time_s,left_mV,right_mV", SECONDS) + table("time_s,right_mV", SECONDS).replace(",", ";"),
        "columns change",
    ),
    "channels swapped": (
        table("time_s,left_mV,right_mV", SECONDS) + table("time_s,right_mV,left_mV", SECONDS),
        "line 42.*columns change",
    ),
    "long line": (b"1," * (6 << 20), "line 1 is longer|no log|a line has"),
    "many columns": (("a," * 100_000 + "b\n").encode() + ("1," * 100_000 + "2\n").encode() * 3, "1024"),
    "mixed units": (FORMS["units in cells"].replace("12.3 mV", "12.3 furlong", 3), '"12.3 furlong" is not a number'),
    "pdf": (b"%PDF-1.7 ...", "PDF"),
    "damaged parquet": (b"PAR1" + b"\0" * 100 + b"PAR1", "damaged"),
    "damaged gz": (gzip.compress(FORMS["plain"].encode())[:-12], "compressed data|decompressed"),
    "wav without scale": (
        b"RIFF\0\0\0\0WAVEfmt \x10\0\0\0\1\0\1\0\x64\0\0\0\xc8\0\0\0\2\0\x10\0data\x28\0\0\0" + bytes(40),
        "full_scale_V",
    ),
}


@pytest.mark.parametrize("case", BAD)
def test_bad_input_gets_one_sentence(case: str, tmp_path: Path):
    text, wanted = BAD[case]
    with pytest.raises(LogError, match=wanted) as caught:
        read_log(write(tmp_path, text))
    said = str(caught.value)
    assert "bench.csv" in said
    assert "\n" not in said
    assert len(said) < 400


def test_what_is_no_file_is_refused(tmp_path: Path):
    import os

    for path, wanted in ((tmp_path / "none.csv", "no such file"), (tmp_path, "directory")):
        with pytest.raises(LogError, match=wanted):
            read_log(path)
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(LogError, match="pipe or a device"):
        read_log(tmp_path / "pipe")
    with pytest.raises(LogError, match="pipe or a device"):
        read_log("/dev/zero")
    (tmp_path / "link").symlink_to(write(tmp_path, FORMS["plain"]))
    assert read_log(tmp_path / "link").channels == ("left", "right")
    (tmp_path / "dead").symlink_to(tmp_path / "nowhere")
    with pytest.raises(LogError, match="no such file"):
        read_log(tmp_path / "dead")


def test_compressed_logs_and_their_bounds(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    text = FORMS["plain"].encode()
    path = write(tmp_path, gzip.compress(text), "bench.csv.gz")
    assert columns(read_log(path))[1]["left"][0] == 0.0123
    with zipfile.ZipFile(tmp_path / "bench.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("bench/log.csv", text)
    assert columns(read_log(tmp_path / "bench.zip"))[1]["left"][0] == 0.0123
    with zipfile.ZipFile(tmp_path / "bench.zip", "a") as archive:
        archive.writestr("bench/other.csv", text)
    with pytest.raises(LogError, match="2 files"):
        read_log(tmp_path / "bench.zip")
    monkeypatch.setattr("flicker.logs.reading.files.FREE_EXPANSION", 2 << 20)  # 256 MiB would take its time
    bomb = gzip.compress(b"time_s,left_mV\n" + b"1,2.0\n" * (1 << 20))
    with pytest.raises(LogError, match="expands to more than"):
        read_log(write(tmp_path, bomb, "bomb.csv.gz"))


@pytest.mark.parametrize("bits", [16, 24, 32, -32, -64])
def test_recordings(bits: int, tmp_path: Path):
    # layout of the WAVE form: RIFF specification 1.0, 'fmt ' chunk; 16, 24, 32 bits checked by the standard library
    count, codes = 2, np.array([[0, 1], [-3, 5], [100, -100], [7, 0]] * 5)
    if bits < 0:
        data = (codes / 128).astype("<f4" if bits == -32 else "<f8").tobytes()
    else:
        data = b"".join(int(v).to_bytes(bits // 8, "little", signed=True) for v in (codes << (bits - 8)).ravel())
    size = abs(bits) // 8
    form = struct.pack("<HHIIHH", 3 if bits < 0 else 1, count, 100, 100 * count * size, count * size, abs(bits))
    body = (
        b"WAVEfmt "
        + struct.pack("<I", 16)
        + form
        + b"LIST\x04\0\0\0abcd"
        + b"data"
        + struct.pack("<I", len(data))
        + data
    )
    path = write(tmp_path, b"RIFF" + struct.pack("<I", len(body)) + body, "rec.wav")
    log = read_log(path, full_scale_V=12.8)
    time, values = columns(log)
    np.testing.assert_allclose(time, np.arange(20) / 100)
    np.testing.assert_allclose(values["right"], codes[:, 1] / 10, rtol=1e-6)
    if bits > 0:
        import wave

        with wave.open(str(path)) as known:
            assert (known.getnframes(), known.getnchannels(), known.getsampwidth()) == (20, 2, size)


def test_the_last_line_of_a_logger_that_lost_power(tmp_path: Path):
    for tail, rows in (("20.0,1.25,-0.75", 41), ("20.0,1.25,-0.7", 40), ("20.0,1.2", 40), ("2", 40)):
        text = table("time_s,left_mV,right_mV", SECONDS, cells=lambda v: f"{v:.2f}") + tail
        log = read_log(write(tmp_path, text))
        assert log.runs[0].samples == rows
        assert any("cut off" in note for note in log.runs[0].notes) == (rows == 40)


def test_a_few_odd_lines_are_left_out_with_a_note(tmp_path: Path):
    text = (
        table("time_s,left_mV,right_mV", SECONDS).replace("\n4.0,12.3,-1.5", "\n4.0,12.3").replace("\n7.0,", "\n7\0.0,")
    )
    log = read_log(write(tmp_path, text))
    assert log.runs[0].samples == N  # a row that cannot be read keeps its place in time, without a reading
    left = columns(log)[1]["left"]
    assert np.flatnonzero(np.isnan(left)).tolist() == [8, 14]
    assert any("line 10" in note and "not observed" in note for note in log.runs[0].notes)
    assert any("NUL" in note and "not observed" in note for note in log.runs[0].notes)


def test_stamps_coarser_than_the_samples_are_spread(tmp_path: Path):
    start = datetime(2026, 3, 5, 10)
    times = [
        (start + timedelta(seconds=math.floor(0.1 * k + 0.35 + 1e-9))).strftime("%Y-%m-%d %H:%M:%S") for k in range(N)
    ]
    log = read_log(write(tmp_path, table("time,left_mV,right_mV", times)))
    np.testing.assert_allclose(columns(log)[0], 0.1 * np.arange(N), atol=1e-9)
    assert log.runs[0].sample_interval_s == pytest.approx(0.1)


def test_a_file_that_changes_between_passes_is_refused(tmp_path: Path):
    import pyarrow as pa
    from pyarrow import parquet

    data = pa.table({"time_s": 0.5 * np.arange(N), "left_mV": LEFT})
    path = tmp_path / "a.parquet"
    parquet.write_table(data, path)
    log = read_log(path)
    assert log.runs[0].samples == N
    parquet.write_table(data.slice(0, 20), path)
    with pytest.raises(LogError, match="changed while"):
        list(log.sweep())


@pytest.mark.parametrize(
    ("cell", "volts"),
    [
        ("12.3 mV", 0.0123),
        ("-1.5e1mV", -0.015),
        ("+2 V", 2.0),
        ("0.5 µV", 5e-7),
        ("3 VDC", 3.0),
        ("OL mV", math.inf),
        ("-OL", -math.inf),
        ("9.9E37 V", math.inf),
        ("", math.nan),
        ("1 kV", 1e3),
        ("1,5 mV", None),
        ("7", None),
        ("7 mA", None),
    ],
)
def test_a_unit_in_the_cell_counts_for_that_cell(cell: str, volts: float | None, tmp_path: Path):
    path = write(tmp_path, "time_s;left\n" + "".join(f"{k};{cell if k == 15 else '0.25 mV'}\n" for k in range(20)))
    if volts is None:
        with pytest.raises(LogError, match="line 17"):
            read_log(path, decimal=".")
    else:
        values = columns(read_log(path, decimal="."))[1]["left"]
        np.testing.assert_array_equal(values, [volts if k == 15 else 0.00025 for k in range(20)])


def test_unquoted_thousands_before_a_unit_are_not_taken_for_decimals(tmp_path):
    # the last group carries the unit: 17,232 µV is 17.2 mV or 17.2 µV, and these rows do not say which
    start = datetime(2031, 12, 25, 20, 0)
    rows = [f"{start + timedelta(seconds=k)},17,{200 + k} µV" for k in range(400)]
    path = tmp_path / "grouped.csv"
    path.write_text("time_s,left\n" + "\n".join([*rows, f"{start + timedelta(seconds=400)},-2,437,640 µV"]) + "\n", encoding="utf-8")
    with pytest.raises(LogError, match=r"as decimal signs or for thousands.*--decimal"):
        read_log(path)
    told = read_log(path, decimal=".").to_frame()
    assert told["left"].iloc[0] == pytest.approx(0.0172) and told["left"].iloc[400] == pytest.approx(-2.43764)
