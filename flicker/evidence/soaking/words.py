"""A soak plan in words: what to run, what it rests on, how not to get hurt."""

from __future__ import annotations

from flicker.base.formats import digits_text, hours_text, power_ups_text, share_text, times_text
from flicker.evidence.soaking.model import SoakPlan, SoakRate
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


def plan_reads(plan: SoakPlan, base: float, over: PowerUpSoak | None) -> str:
    """The plan in words; ``base`` is the rate it goes by, ``over`` the same in power-ups where their counts are known."""
    rate, hours, chance = plan.rate, hours_text(plan.hours), share_text(plan.confidence)
    if plan.kind == "demonstrate":
        allowed = plan.allowed
        what = "no episode" if allowed == 0 else f"at most {allowed} episode{'s' if allowed > 1 else ''}"
        text = f"Plan: {hours} of observed time with {what} exclude more than {digits_text(base)} per hour ({chance})."
    elif plan.kind == "upper limit":
        text = (
            f"Nothing was seen in {hours_text(rate.observed_h or 0.0)}: the fault comes at most {digits_text(base)} times per "
            f"hour. Plan: at least {hours} of observed time; that catches it with a chance of {chance} only if it is as "
            "frequent as that."
        )
    elif over is not None:
        text = f"Plan: {power_ups_text(over.power_ups, plan.hours / over.power_ups)}, to see it at least once with a chance of {chance}"
        text += f"; {over.power_ups} power-ups as long as those seen, not one long run." if over.power_ups > 1 else "."
        text += f" It was seen {times_text(rate.count or 0)} in {hours_text(rate.observed_h or 0.0)}."
    else:
        text = f"Plan: {hours} of observed time, to see it at least once with a chance of {chance}."
        if rate.count is not None and plan.hours_if_rate_known is not None:
            text += (
                f" It was seen {times_text(rate.count)} in {hours_text(rate.observed_h or 0.0)}; were that rate known "
                f"for certain, {hours_text(plan.hours_if_rate_known)} would do."
            )
    if plan.detectable_share < 1.0:
        text += f" The meter sees {share_text(plan.detectable_share)} of such glitches; that is allowed for."
    if plan.power_ups is not None and plan.power_ups.better_than_hours:
        text += f" Cold starts are quicker: {plan.power_ups.reads}"
    return text
