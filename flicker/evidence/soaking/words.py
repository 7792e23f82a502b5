"""A soak plan in words: what to run, what it rests on, how not to get hurt."""

from __future__ import annotations

from typing import Any

from flicker.base.formats import digits_text, hours_text, power_ups_text, share_text, times_text
from flicker.evidence.soaking.rate import SoakRate
from flicker.stats.power_ups import PowerUpSoak

CAUTIONS = (
    "A soak runs on a dummy load rated for the supply rails, or on none; never on a loudspeaker.",
    "Feed the unit through a current-limited or fused supply, and do not leave it unattended while a channel is marked "
    "'do not connect'.",
    "Mains voltage and charged capacitors can kill: covers off only for those trained for it, local codes and licensed "
    "practice first.",
)


def plan_method(kind: str, rate: SoakRate) -> str:
    """By which law the hours were found."""
    if kind == "demonstrate":
        return "chi-square factors, 2 * allowed + 2 degrees of freedom"
    if kind == "upper limit":
        return "exponential law at the one-sided upper limit of the rate"
    return "predictive law, rate from the episodes seen" if rate.count is not None else "exponential law, rate known"


def plan_reads(
    kind: str,
    hours: float,
    known: float | None,
    confidence: float,
    rate: SoakRate,
    seen: float,
    allowed: int,
    base: float,
    power_ups: dict[str, Any] | None,
    over: PowerUpSoak | None = None,
) -> str:
    """The plan in words."""
    if kind == "demonstrate":
        what = "no episode" if allowed == 0 else f"at most {allowed} episode{'s' if allowed > 1 else ''}"
        text = (
            f"Plan: {hours_text(hours)} of observed time with {what} exclude more than {digits_text(base)} per hour "
            f"({share_text(confidence)})."
        )
    elif kind == "upper limit":
        text = (
            f"Nothing was seen in {hours_text(rate.observed_h or 0.0)}: the fault comes at most {digits_text(base)} times per "
            f"hour. Plan: at least {hours_text(hours)} of observed time; that catches it with a chance of "
            f"{share_text(confidence)} only if it is as frequent as that."
        )
    elif over is not None:
        text = f"Plan: {power_ups_text(over.power_ups, hours / over.power_ups)}, to see it at least once with a chance of {share_text(confidence)}"
        text += f"; {over.power_ups} power-ups as long as those seen, not one long run." if over.power_ups > 1 else "."
        text += f" It was seen {times_text(rate.count or 0)} in {hours_text(rate.observed_h or 0.0)}."
    else:
        text = f"Plan: {hours_text(hours)} of observed time, to see it at least once with a chance of {share_text(confidence)}."
        if rate.count is not None and known is not None:
            text += (
                f" It was seen {times_text(rate.count)} in {hours_text(rate.observed_h or 0.0)}; were that rate known "
                f"for certain, {hours_text(known)} would do."
            )
    if seen < 1.0:
        text += f" The meter sees {share_text(seen)} of such glitches; that is allowed for."
    if power_ups is not None and power_ups["better_than_hours"]:
        text += f" Cold starts are quicker: {power_ups['reads']}"
    return text
