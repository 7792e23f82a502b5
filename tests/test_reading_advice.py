"""Every refusal's advice is followed to a right log, in Python and on the command line. All data here are invented."""

from __future__ import annotations

import inspect
import json
import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from flicker import LogError, read_log
from flicker.cli import main
from flicker.logs.reading.reader import wishes_of

N = 60
LEFT = np.round(12 + 0.5 * np.sin(np.arange(N)), 1)  # millivolts
RIGHT = np.round(-4 + 0.5 * np.cos(np.arange(N)), 1)
LEFT[30] = 2500.0
HALF = [f"{0.5 * k}" for k in range(N)]
CLOCK = [f"2026-03-05 10:00:{k:02d}" for k in range(N)]


def table(header: str, *columns: Any, sep: str = ",", before: str = "") -> str:
    rows = [sep.join(str(cell) for cell in row) for row in zip(*columns, strict=True)]
    return before + (header + "\n" if header else "") + "\n".join(rows) + "\n"


@dataclass
class Advice:
    """A file, how it is read at first, a part of the sentence, the options that it names, and the truth."""

    text: str
    said: str
    then: dict[str, Any]
    first: dict[str, Any] = field(default_factory=dict)
    left: Any = None  # volts; those of LEFT by default
    last_s: float = 29.5
    start: str = ""


def counted(values: Any) -> list[int]:
    return [round(v / 0.0005) + 2048 for v in values / 1e3]


AC = ["AC"] * N
CASES = {
    "dates alone": Advice(
        table("Date,left_mV", ["2026-03-05"] * N, LEFT), "dates without a time of day", {"sample_interval_s": 0.5}
    ),
    "a factor above": Advice(
        table("time_s,left_mV", HALF, LEFT, before="Scale: 0.1\n"), "names a factor", {"unit": {"left": "mV"}}
    ),
    "samples counted": Advice(table("Sample,left_mV", range(N), LEFT), "counts samples", {"sample_interval_s": 0.5}),
    "no time": Advice(table("left_mV,right_mV", LEFT, RIGHT), "no column tells the time", {"sample_interval_s": 0.5}),
    "time of another name": Advice(
        table("left_mV,furlongs", LEFT, HALF), "no column tells the time", {"time_column": "furlongs", "time_unit": "s"}
    ),
    "hours or minutes": Advice(
        table("time,left_mV", [f"10:{k:02d}" for k in range(N)], LEFT), "hours and minutes", {"sample_interval_s": 60.0}, last_s=3540
    ),
    "day or month": Advice(
        table("time,left_mV", [f"03/04/2026 10:00:{k:02d}" for k in range(N)], LEFT),
        "day_first",
        {"day_first": False},
        last_s=59,
        start="2026-03-04T10:00:00",
    ),
    "day or month, in order": Advice(
        table("time,left_mV", [f"03-04-26 10:00:{k:02d}" for k in range(N)], LEFT),
        "date_order",
        {"date_order": "dmy"},
        last_s=59,
        start="2026-04-03T10:00:00",
    ),
    "unit of time in cells and told": Advice(
        table("time,left_mV", [f"{t} s" for t in HALF], LEFT), "leave out time_unit", {}, {"time_unit": "ms"}
    ),
    "unit of time unknown": Advice(
        table("time,left_mV", HALF, LEFT), "not understood", {"time_unit": "s"}, {"time_unit": "fortnight"}
    ),
    "samples or seconds": Advice(table("time,left_mV", range(N), LEFT), "samples or seconds", {"time_unit": "s"}, last_s=59),
    "unit of time not told": Advice(table("t,left_mV", HALF, LEFT), "time_unit", {"time_unit": "s"}),
    "header against column of units, header right": Advice(
        table("time_s,left_mV,Unit", HALF, LEFT, ["V"] * N), "if the first is right", {"roles": {"Unit": "ignore"}}
    ),
    "header against column of units, column right": Advice(
        table("time_s,left_mV,Unit", HALF, LEFT / 1e3, ["V"] * N), "if the first is right", {"unit": {"left": "Unit"}}
    ),
    "header against units row": Advice(table("time_s,left_mV\ns,V", HALF, LEFT), "by the header", {"unit": "mV"}),
    "lines against each other": Advice(
        table("time_s,left", HALF, LEFT, before="All values in mV\nUnit: V\n"), "lines above the header", {"unit": "mV"}
    ),
    "unit unknown": Advice(table("time_s,left (furlong)", HALF, LEFT), "furlong", {"unit": "mV"}),
    "unit not told": Advice(table("time_s,left", HALF, LEFT), "which could be volts", {"unit": "mV"}),
    "unit of one not told": Advice(
        table("time_s,left,right_mV", HALF, LEFT / 10, RIGHT), "'left': 'mV'", {"unit": {"left": "mV"}}, left=LEFT / 1e4
    ),
    "unit told and in cells": Advice(
        table("time_s,left", HALF, [f"{v} mV" for v in LEFT]), "leave out unit", {}, {"unit": "V"}
    ),
    "unit told and in a column": Advice(
        table("time_s,left,Unit", HALF, LEFT, ["mV"] * N), "leave out unit", {}, {"unit": "V"}
    ),
    "unit of one told and in cells": Advice(
        table("time_s,left", HALF, [f"{v} mV" for v in LEFT]), "leave out unit", {}, {"unit": {"left": "V"}}
    ),
    "no unit": Advice(table("time_s,left", HALF, LEFT), "not understood", {"unit": "mV"}, {"unit": "cubit"}),
    "units of whom": Advice(
        table("time_s,left,right,centre,Unit,Unit x", HALF, LEFT, RIGHT, RIGHT, ["mV"] * N, ["mV"] * N),
        "to which channel they belong",
        {"roles": {"Unit x": "ignore"}},
    ),
    "sign of whom": Advice(
        table("time_s,sign,left_mV,right_mV", HALF, ["+"] * N, LEFT, RIGHT + 9), "holds signs", {"roles": {"sign": "ignore"}}
    ),
    "sign of the one named": Advice(
        table("time_s,sign,left_mV,right_mV", HALF, ["-"] * N, LEFT, RIGHT + 9), "holds signs", {"channels": ["left"]}, left=-LEFT / 1e3
    ),
    "sign that is none": Advice(
        table("time_s,sign,left_mV", HALF, [7] * N, LEFT), "called a sign", {"roles": {"sign": "ignore"}}
    ),
    "mode AC": Advice(table("time_s,left_mV,mode", HALF, LEFT, AC), "alternating", {"roles": {"mode": "ignore"}}),
    "AC by its header": Advice(table("time_s,left mV AC", HALF, LEFT), "alternating", {"channels": ["left mV AC"], "unit": "mV"}),
    "averages only": Advice(
        table("time_s,left_avg_mV,left_min_mV,left_max_mV", HALF, LEFT, LEFT - 1, LEFT + 1), "averages", {"channels": ["left_avg_mV"]}
    ),
    "counts": Advice(
        table("time_s,adc_left", HALF, counted(LEFT)),
        "counts of a converter",
        {"volts_per_count": 0.0005, "zero_count": 2048},
        left=(np.array(counted(LEFT)) - 2048) * 0.0005,
    ),
    "seventeen": Advice(
        table(",".join(["time_s", "left_mV", *(f"o{k}_mV" for k in range(16))]), HALF, LEFT, *[RIGHT] * 16),
        "more than 16",
        {"channels": ["left"]},
    ),
    "several readings beside a channel's name": Advice(
        table("time_s,Channel,a_mV,b_mV", np.repeat(HALF, 2), ["left", "right"] * N, np.repeat(LEFT, 2), np.repeat(RIGHT, 2)),
        "names the channel of each row",
        {"channel_column": "Channel", "channels": ["a_mV"]},
        {"channel_column": "Channel"},
    ),
    "a word for nothing": Advice(
        table("time_s,left_mV", HALF, ["banana" if k == 7 else v for k, v in enumerate(LEFT)]),
        'line 9, column "left_mV"',
        {"missing_words": ("banana",)},
        left=np.where(np.arange(N) == 7, np.nan, LEFT / 1e3),
    ),
    "a word for over range": Advice(
        table("time_s,left_mV", HALF, ["banana" if k == 30 else v for k, v in enumerate(LEFT)]),
        "is not a number",
        {"over_words": ("banana",)},
        left=np.where(np.arange(N) == 30, np.inf, LEFT / 1e3),
    ),
    "a column of words": Advice(
        table("time_s,left_mV,right_mV", HALF, LEFT, ["pear"] * N), "is not a number", {"channels": ["left"]}
    ),
    "comma, decimal": Advice(table("time_ms;left_mV", [500 * k for k in range(N)], ["1,234"] * N, sep=";"), "decimal", {"decimal": ","}, left=np.full(N, 1.234e-3)),
    "point, thousands": Advice(
        table("time_ms;left_mV", [500 * k for k in range(N)], ["2.500" if k == 30 else "12" for k in range(N)], sep=";"),
        "thousands separator",
        {"decimal": ","},
        left=np.where(np.arange(N) == 30, 2.5, 0.012),
    ),
    "commas in cells and between them": Advice(
        table("t_ms,a_mV", [f"{k},{500 + k}" for k in range(1, N + 1)], [f"{k},{100 + k}" for k in range(1, N + 1)]),
        "commas part the cells",
        {"decimal": "."},
        left=np.array([1000 * k + 100 + k for k in range(1, N + 1)]) / 1e3,
        last_s=59.059,
    ),
    "commas before units and between cells": Advice(
        "".join(f"2026-03-05 10:00:{k:02d},{10 + k},39 mV,-9,{k % 10} mV\n" for k in range(N)),
        "commas part the cells",
        {"decimal": ","},
        left=np.array([10.39 + k for k in range(N)]) / 1e3,
        last_s=59.0,
    ),
    "a cell too many": Advice(
        table("t_ms,left_mV", [500 * k for k in range(N)], ["2,500" if k == 30 else "12" for k in range(N)]).replace("15000,2,500", "1,500,100"),
        "thousands",
        {"thousands": "sure"},
        left=np.where(np.arange(N) == 30, np.nan, 0.012),
    ),
    "one output in two units": Advice(
        table("time_s,left_mV,left_V", HALF, LEFT, LEFT / 1e3), "may hold the same output", {"channels": ["left_mV"]}
    ),
    "readings and another average": Advice(
        table("time_s,left [mV] avg,right [mV] avg,left average (mV)", HALF, LEFT, RIGHT, [12.0] * N),
        "may hold the same output",
        {"roles": {"left average (mV)": "ignore"}},
    ),
    "raw beside the reading": Advice(
        table("time_s,left raw (mV),left (mV)", HALF, [7.0] * N, LEFT), "may hold the same output", {"roles": {"left raw (mV)": "ignore"}}
    ),
    "a cell too many, far below": Advice(
        table("t_ms,left_mV", [500 * k for k in range(9000)], ["2,500" if k == 30 else "12" for k in range(9000)]).replace("4400000,12", "1,500,100"),
        "where commas part thousands is not clear",
        {"thousands": "sure"},
        left=[np.nan if k == 8800 else 2.5 if k == 30 else 0.012 for k in range(9000)],
        last_s=4499.5,
    ),
    "thousands in every row, and one in two ways": Advice(
        table("time,left_uV,right_uV", CLOCK, ["15,311,335" if k == 30 else f"17,{100 + k}" for k in range(N)], ["582" if k == 30 else f"13,{300 + k}" for k in range(N)]),
        "where commas part thousands is not clear",
        {"thousands": "sure", "decimal": "."},
        {"decimal": "."},
        left=[np.nan if k == 30 else (17100 + k) / 1e6 for k in range(N)],
        last_s=59.0,
    ),
    "scatter beside known averages": Advice(
        table("time_s,mean left_mV,min left_mV,max left_mV,wobble left_mV", HALF, LEFT, LEFT - 1, LEFT + 1, [3.0] * N),
        "may hold the same output",
        {"channels": ["mean left_mV"]},
    ),
    "a supply of an unknown name": Advice(
        table("time_s,Quelle (V),left (mV)", HALF, [24.1] * N, LEFT), "is not called as an output is", {"roles": {"Quelle (V)": "rail"}}
    ),
    "two unknown names, one far from zero": Advice(
        table("time_s,Quelle (V),Adrian (mV)", HALF, [24.1] * N, LEFT), "is not called as an output is", {"roles": {"Quelle (V)": "ignore"}}
    ),
    "a factor in the name": Advice(table("time_s,left [V] x1000", HALF, LEFT), "names a factor or a ratio", {"unit": "mV"}),
    "a counter of 16 bits": Advice(
        table("time_ms,left_mV", [(48_000 + 5000 * k) % 65_536 for k in range(N)], LEFT), "counter of 16 bits", {"sample_interval_s": 0.5}
    ),
    "two devices": Advice(
        table("time_s,Device,left_mV", HALF, ["A45"] * 30 + ["M22"] * (N - 30), LEFT), "readings would be mixed", {"roles": {"Device": "ignore"}}
    ),
    "a column of factors": Advice(table("time_s,left_mV,Factor", HALF, LEFT, [10] * N), "holds factors", {"roles": {"Factor": "ignore"}}),
    "a factor in one of two names": Advice(
        table("time_s,left [mV] (1:10),right [mV]", HALF, LEFT / 10, RIGHT), "names a factor or a ratio", {"channels": ["right [mV]"]}, left=RIGHT / 1e3
    ),
    "the file says another unit": Advice(table("time_s,left_mV,right_mV", HALF, LEFT, RIGHT), "the file says mV; leave out unit", {}, {"unit": "V"}),
    "the file is wrong": Advice(
        table("time_s,left_V,right_V", HALF, LEFT, RIGHT), "if the file is wrong", {"unit": {"left_V": "mV", "right_V": "mV"}}, {"unit": "mV"}
    ),
    "units in cells against a column of units": Advice(
        table("time_s,left,unit", HALF, [f"{v} mV" for v in LEFT], ["V"] * N), "if the cells are right", {"roles": {"unit": "ignore"}}
    ),
    "names of channels against the unit of their readings": Advice(
        table("time_s,channel,value_mV", [t for t in HALF for _ in "lr"], ["left [V]", "right [V]"] * N, [v for pair in zip(LEFT, RIGHT, strict=True) for v in pair]),
        "say which with unit={'value': 'mV'}",
        {"unit": {"value": "mV"}},
    ),
    "no voltages": Advice(table("time_s,Ohm", HALF, LEFT), "no column of voltages", {"channels": ["Ohm"], "unit": "mV"}),
    "equal stamps": Advice(table("time_s,left_mV", ["5.0"] * N, LEFT), "all time stamps are equal", {"sample_interval_s": 0.5}),
    "no such column": Advice(table("time_s,left_mV", HALF, LEFT), "name one of them", {"channels": ["left"]}, {"channels": ["rear"]}),
    "marks that are numbers": Advice(
        table("time_s,left_mV,note", HALF, LEFT, range(N)), "not marks", {}, {"marks_column": "note"}
    ),
    "unit of a rail": Advice(
        table("time_s,left_mV,plus", HALF, LEFT, [40] * N), "'plus': 'V'", {"roles": {"plus": "rail"}, "unit": {"plus": "V"}}, {"roles": {"plus": "rail"}}
    ),
    "separator": Advice(
        table("time_s;left_mV", HALF, LEFT, sep=";"), "must be one of", {"separator": ";"}, {"separator": "x"}
    ),
    "most readings of another unit": Advice(
        table("time_s,left,Unit", HALF, LEFT, ["mV"] * 5 + ["Ohm"] * (N - 5)),
        "no unit of direct voltage",
        {"roles": {"Unit": "ignore"}, "unit": "mV"},
    ),
}  # fmt: skip


def argv(options: dict[str, Any]) -> list[str]:
    names = {
        "sample_interval_s": "sample-interval",
        "roles": "role",
        "missing_words": "missing-word",
        "over_words": "over-word",
        "run_gap_s": "run-gap",
        "differences": "difference",
    }
    out: list[str] = []
    for key, value in options.items():
        name = "--" + names.get(key, key.replace("_", "-"))
        if isinstance(value, dict):
            for column, told in value.items():
                out += [name, f"{column}={told if isinstance(told, str) else ','.join(told)}"]
        elif key == "channels":
            out += [name, ",".join(value)]
        elif isinstance(value, tuple):
            out += [name, *value]
        elif isinstance(value, bool):
            out += [name, "yes" if value else "no"]
        else:
            out += [name, str(value)]
    return out


@pytest.mark.parametrize("name", CASES)
def test_the_advice_leads_to_a_right_log(name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    case = CASES[name]
    path = tmp_path / "bench.csv"
    path.write_text(case.text, encoding="utf-8")
    with pytest.raises(LogError) as refused:
        read_log(path, **case.first)
    assert case.said in str(refused.value)
    log = read_log(path, **case.then)
    frame = log.to_frame()
    np.testing.assert_allclose(frame[log.channels[0]], LEFT / 1e3 if case.left is None else case.left, rtol=1e-9, atol=1e-12)
    assert frame["time_s"].iloc[-1] - frame["time_s"].iloc[0] == pytest.approx(case.last_s)
    if case.start:
        assert log.runs[0].start is not None
        assert log.runs[0].start.isoformat() == case.start
    assert main(["look", str(path), "--json", *argv(case.then)]) == 0
    plan = json.loads(capsys.readouterr().out)
    assert plan["missing"] is None
    assert plan["channels_read"] == list(log.channels)
    assert plan["shown"][0]["volts"][0] == pytest.approx(float(frame[log.channels[0]].iloc[0]))


def test_every_option_that_a_sentence_names_exists(capsys: pytest.CaptureFixture[str]):
    python = set(inspect.signature(read_log).parameters) | set(inspect.signature(wishes_of).parameters)
    assert main(["assess", "--help"]) == 0
    line = set(re.findall(r"--[a-z-]+", capsys.readouterr().out))
    source = Path(inspect.getfile(read_log)).parent
    for file in sorted(source.rglob("*.py")):
        for option in re.findall(r"\((--[a-z-]+)", file.read_text(encoding="utf-8")):
            assert option in line, (file.name, option)
            word = option[2:].replace("-", "_")
            known = {"sample_interval": "sample_interval_s", "role": "roles", "missing_word": "missing_words",
                     "over_word": "over_words", "full_scale": "full_scale_V"}.get(word, word)  # fmt: skip
            assert known in python, (file.name, option)
