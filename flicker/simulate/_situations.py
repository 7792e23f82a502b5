"""How benches fool a log: relay, leads, meter, power, hands and outputs. See the kinds' lines of description."""

from __future__ import annotations

from flicker.simulate._registry import kind
from flicker.simulate._sheet import Sheet


@kind("settled-offset", "situation", "a constant output that sits at 180 mV", verdict="steady")
def settled_offset(sheet: Sheet, *, offset_V: float = 0.180) -> None:
    """Raise the level of the bad channels to ``offset_V``."""
    for _, _, trace in sheet.each_bad():
        trace.level += offset_V - trace.settled_V
        trace.settled_V = offset_V


@kind(
    "classic",
    "situation",
    "two minutes: a surge, then four swings within a minute",
    verdict="noisy",
    hours=1.0 / 30.0,
    rate_hz=4.0,
    surge_V=0.067,
    surge_tau_s=11.0,
    settled_V=0.013,
)
def classic(sheet: Sheet) -> None:
    """Surge to 80 mV that falls to 13 mV; readings of -85, then +130/-50, -150/+100 and +95/-60 mV."""
    swings = [
        (63.0, 6.0, -0.085, None),
        (79.0, 5.0, 0.130, -0.050),
        (93.0, 6.0, -0.150, 0.100),
        (108.0, 4.0, 0.095, -0.060),
    ]
    for run, name, trace in sheet.each_bad():
        rng = sheet.rng("classic", run, name)
        for start, length, first, second in swings:
            begin = start + float(rng.uniform(-0.5, 0.5))
            half = length if second is None else 0.5 * length
            sheet.glitch(run, name, begin, half, first - trace.settled_V, "rectangular")
            if second is not None:
                sheet.glitch(run, name, begin + half, half, second - trace.settled_V, "rectangular")
