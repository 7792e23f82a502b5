"""Units, scales and grouped figures for `fresh_reading`: where a factor of ten or a thousand hides. All data are invented."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from fresh_reading import LEFT, RIGHT, ROWS, START, STEP_S, Sample, Truth, truth
from fresh_reading_texts import HEADER, STAMPS, TABLE, join

Cell = Callable[[float], str]


def _mV(x: float) -> str:
    return f"{x:.1f}"


def _uV(x: float) -> str:
    return f"{x * 1000:.0f}"


def _V(x: float) -> str:
    return f"{x / 1000:.4f}"


def _table(names: Sequence[str], cell: Cell, above: Sequence[Sequence[str]] = (), sep: str = ";", truths: tuple[Truth, ...] | None = None, **more: Any) -> Sample:
    rows = [*above, list(names), *([s, cell(a), cell(b)] for s, a, b in zip(STAMPS, LEFT, RIGHT, strict=True))]
    return Sample(join(rows, sep).encode(), (truth(),) if truths is None else truths, **more)


def _units() -> dict[str, Sample]:
    """The unit of a column, said in many ways."""
    said: dict[str, tuple[str, Cell]] = {
        "Left (V)": ("Right (V)", _V), "Left / V": ("Right / V", _V), "Left in V": ("Right in V", _V), "Left_V": ("Right_V", _V), "Left, Volt": ("Right, Volt", _V),
        "Left [VDC]": ("Right [VDC]", _V), "Left V DC": ("Right V DC", _V), "Left [mVdc]": ("Right [mVdc]", _mV), "Left (Millivolt)": ("Right (Millivolt)", _mV),
        "Left {mV}": ("Right {mV}", _mV), "Left <mV>": ("Right <mV>", _mV), "Left mV": ("Right mV", _mV), "Left_mv": ("Right_mv", _mV), "Left.mV": ("Right.mV", _mV),
        "mV Left": ("mV Right", _mV), "[mV] Left": ("[mV] Right", _mV), "Left (uV)": ("Right (uV)", _uV), "Left [microvolts]": ("Right [microvolts]", _uV),
        "Left [V*1e-3]": ("Right [V*1e-3]", _mV), "Left [10^-6 V]": ("Right [10^-6 V]", _uV), "Left [1e-6V]": ("Right [1e-6V]", _uV), "Left [0.1 mV]": ("Right [0.1 mV]", lambda x: f"{x * 10:.0f}"),
        "Left (mV, offset)": ("Right (mV, offset)", _mV), "Left:mV": ("Right:mV", _mV), "Left - mV": ("Right - mV", _mV), "Left [MV]": ("Right [MV]", _mV), "Left(mV)": ("Right(mV)", _mV),
    }  # fmt: skip
    found = {f"unit {a!r}": _table(["Time", a, b], cell, may_refuse=True) for a, (b, cell) in said.items()}
    for word in ("?V", "�V", "ÂµV", "Î¼V", "\u00b5V", "\u03bcV", "&micro;V", "u V", "μV DC"):
        found[f"micro {word!r}"] = _table(["Time", f"Left [{word}]", f"Right [{word}]"], _uV, knows={"unit": "uV"}, needs_ask=word[0] in "?�", may_refuse=word[0] == "&")
    for word in ("dBV", "dBu", "% FS", "counts", "raw", "mA", "W", "Ω", "A.U.", "mVrms", "mVpp", "LSB"):
        found[f"no volts {word!r}"] = _table(["Time", f"Left [{word}]", f"Right [{word}]"], _mV, truths=())
    return found


def _factors() -> dict[str, Sample]:
    """A factor told above the table, in its header, or in a column: applied or asked, never passed over."""

    def tenth(x: float) -> str:
        return f"{x / 10:.2f}"

    told = {
        "Probe: 10:1": tenth, "Probe factor;10": tenth, "Scale;10;10": tenth, "Scale factor: 10": tenth, "Multiplier;;10;10": tenth, "Gain: 0.1": tenth, "Attenuation;10": tenth,
        "# readings x 10": tenth, "Factor = 10": tenth, "Divider 1:10": tenth, "Amplifier gain;0,1": tenth, "Teilerverhältnis;10:1": tenth, "Faktor;10": tenth, "Échelle: 10": tenth,
        "Vertical scale;2;V": _mV, "Scale;1;1": _mV, "Gain: 1": _mV, "Offset;0.0;0.0": _mV, "Range scale: auto": _mV, "Temperature scale;Celsius": _mV,
    }  # fmt: skip
    found = {f"above {line!r}": _table(HEADER, cell, [[line]], truths=(truth(),), may_refuse=cell is tenth, needs_ask=False) for line, cell in told.items()}
    found["offset above"] = _table(HEADER, lambda x: f"{x + 2:.1f}", [["Zero offset [mV];2.0;2.0"]], may_refuse=True)
    for names in (("Left [mV] x10", "Right [mV] x10"), ("Left x10 [mV]", "Right x10 [mV]"), ("Left [mV x 10]", "Right [mV x 10]"), ("Left [10 mV]", "Right [10 mV]")):
        found[f"header {names[0]!r}"] = _table(["Time", *names], tenth, may_refuse=True, truths=(truth(), truth(names=("Left x10", "Right x10"))))
    rows = [["Time", "Left", "Right", "Factor"], *([s, f"{a / 10:.2f}", f"{b / 10:.2f}", "10"] for s, a, b in zip(STAMPS, LEFT, RIGHT, strict=True))]
    found["factor column"] = Sample(join([[*r] if k else [r[0], "Left [mV]", "Right [mV]", r[3]] for k, r in enumerate(rows)]).encode(), (truth(),), may_refuse=True)
    found["unit against preamble"] = _table(HEADER, _mV, [["Unit: V"]], may_refuse=True)
    found["unit against cells"] = _table(["Time", "Left [mV]", "Right [mV]"], lambda x: f"{x / 1000:.4f} V", may_refuse=True)
    found["unit of one column only"] = _table(["Time", "Left [mV]", "Right"], _mV, knows={"unit": {"Right": "mV"}}, may_refuse=True)
    mixed = [["Time", "Left [mV]", "Right [V]"], *([s, _mV(a), _V(b)] for s, a, b in zip(STAMPS, LEFT, RIGHT, strict=True))]
    found["two units"] = Sample(join(mixed).encode(), (truth(),))
    exponent = [["Time", "Left mantissa", "Left exponent"], *([s, f"{a:.1f}", "-3"] for s, a in zip(STAMPS, LEFT, strict=True))]
    found["exponent column"] = Sample(join(exponent).encode(), (truth(LEFT, None),), may_refuse=True)
    return found


def _grouped() -> dict[str, Sample]:
    """Figures that may be grouped or broken: both ways are possible, so the unit and the digits must settle it or it is asked."""

    def three(mark: str, scale: float = 1.0) -> Cell:
        return lambda x: f"{x * scale:.3f}".replace(".", mark)

    groups = lambda x: f"{x * 1000:,.0f}".replace(",", ".")  # noqa: E731
    commas = lambda x: f"{x * 1000:,.0f}"  # noqa: E731
    micro = ["Time", "Left [µV]", "Right [µV]"]
    return {
        "three decimals, comma": _table(HEADER, three(","), knows={"decimal": ","}),
        "three decimals, point": _table(HEADER, three("."), knows={"decimal": "."}),
        "points group, no decimals": _table(micro, groups, knows={"decimal": ","}, may_refuse=True),
        "commas group, no decimals": _table(micro, commas, knows={"decimal": "."}, may_refuse=True),
        "commas group, quotes": _table(micro, lambda x: f'"{commas(x)}"', sep=",", knows={"decimal": "."}, may_refuse=True),
        "commas group, no quotes": _table(micro, commas, sep=",", knows={"thousands": "sure"}, may_refuse=True),
        "whole numbers, mV as V": _table(["Time", "Left [V]", "Right [V]"], lambda x: f"{x / 1000:.3f}", truths=(truth(np.round(LEFT / 1000, 3) * 1000, np.round(RIGHT / 1000, 3) * 1000),)),
        "comma in time, point in readings": Sample(join([["t [s]", *HEADER[1:]], *([f"{k * STEP_S:.1f}".replace(".", ","), *r[1:]] for k, r in enumerate(TABLE))]).encode(), (truth(start=None),), may_refuse=True),
        "both marks in one file": Sample(join([HEADER, *TABLE[:12], *([r[0], *(c.replace(".", ",") for c in r[1:])] for r in TABLE[12:])]).encode(), (truth(),), may_refuse=True),
        "decimals appear late": Sample(join([["Time", "Left [mV]"], *([s, f"{k}" if k < 300 else f"{k},5"] for k, s in enumerate(_many(400)))]).encode(), (Truth({"Left": (np.arange(400) + 0.5 * (np.arange(400) >= 300)) / 1000}, np.arange(400) * STEP_S, START),)),
    }


def _many(rows: int) -> list[str]:
    from datetime import timedelta

    return [(START + timedelta(seconds=k * STEP_S)).isoformat(" ") for k in range(rows)]


def SCALES() -> dict[str, Sample]:
    """Give all files about scales by name."""
    assert LEFT.size == ROWS
    return _units() | _factors() | _grouped()
