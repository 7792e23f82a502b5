"""Outputs differ: named sets of limits, and what cannot be seen at each kind of output. Common practice, no source."""

from __future__ import annotations

from typing import NamedTuple

OUTPUTS = ("direct", "servo", "capacitor", "transformer", "bridged", "headphone")


class OutputKind(NamedTuple):
    """Limits that differ from the defaults, and the sentence that every verdict on such an output carries."""

    limits: tuple[tuple[str, float], ...]
    caution: str


KINDS: dict[str, OutputKind] = {
    "direct": OutputKind((), ""),
    "servo": OutputKind(
        (("settled_offset_V", 0.020), ("drift_V", 0.010)),
        "A servo holds the offset at zero and hides a drift until it runs out of range: size and decay of the spikes "
        "carry the verdict.",
    ),
    "capacitor": OutputKind(
        (("settled_offset_V", 0.050), ("settle_s", 300.0), ("surge_V", 1.0)),
        "Behind an output capacitor a steady DC fault cannot be seen at the terminals: only its changes are. Measure "
        "before the capacitor to judge the amplifier itself.",
    ),
    "transformer": OutputKind(
        (("settled_offset_V", 0.010), ("drift_V", 0.010)),
        "Behind an output transformer DC is held off: its primary and bias tell more than the terminals do.",
    ),
    "bridged": OutputKind(
        (),
        "Bridged output: the difference of the two terminals is judged; neither may be connected to ground through a "
        "meter lead or an oscilloscope.",
    ),
    "headphone": OutputKind(
        (
            ("settled_offset_V", 0.020),
            ("excursion_V", 0.020),
            ("drift_V", 0.010),
            ("protection_V", 0.50),
            ("release_V", 0.50),
            ("danger_V", 0.50),
        ),
        "Headphones take less than loudspeakers do: the limits are lower, and no headphone belongs on a unit under test.",
    ),
}
