"""A change of the rate of episodes: what was found, corrected over the channels of a page, and said."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Annotated

from flicker.base.described import Doc
from flicker.base.formats import digits_text
from flicker.base.limits import Limits
from flicker.base.result import Result
from flicker.evidence.findings import holm
from flicker.stats.changepoints import RateSince
from flicker.stats.power_ups import RateComparison

# Of 1 - confidence, both ways together, where the moment was searched for: counts of power-ups that differ are skewed, gaps have long tails, and at a half
# up to 4 % of steady rates were claimed to change (tests/studies/results/rate_since.md); a choice.
CLAIM = 0.25


FACTOR = 1.5  # a change that matters; common practice, no source


class Way(StrEnum):
    """What is shown."""

    MORE = "more often"
    LESS = "less often"
    NOT_SHOWN = "not shown"


class Over(StrEnum):
    """What the rate was followed over."""

    RUN = "run"
    POWER_UPS = "power-ups"
    VISITS = "visits"


@dataclass(frozen=True, slots=True)
class RateChanged(Result):
    """A change of the rate of episodes, with the moment since which it holds."""

    answer: Annotated[Way, Doc("What is shown.")]
    over: Annotated[Over, Doc("Within one run, from power-up to power-up, or from visit to visit.")]
    given: Annotated[
        bool,
        Doc(
            "Whether the moment was given, by a mark (adjusted, part changed, conditions changed) or as a date, and tested as given."
        ),
    ]
    unit: Annotated[
        int | None, Doc("Power-up or visit with which the new rate begins, from 0; null within a run.", ge=0)
    ]
    unit_low: Annotated[int | None, Doc("First that it may be.", ge=0)]
    unit_high: Annotated[int | None, Doc("Last that it may be.", ge=0)]
    run: Annotated[int | None, Doc("Number of the run in which it begins, from 0; null over visits.", ge=0)]
    at_s: Annotated[float | None, Doc("Moment, seconds since that run's first sample; null over visits.")]
    low_run: Annotated[int | None, Doc("Run of the earliest moment.", ge=0)]
    low_s: Annotated[float | None, Doc("Earliest moment, on that run's clock.")]
    high_run: Annotated[int | None, Doc("Run of the latest moment.", ge=0)]
    high_s: Annotated[float | None, Doc("Latest moment, on that run's clock.")]
    ratio: Annotated[float, Doc("Rate after over rate before.", ge=0, open=True)]
    ratio_low: Annotated[float, Doc("Lower end of its interval.", ge=0)]
    ratio_high: Annotated[float, Doc("Upper end.", ge=0, open=True)]
    p_value: Annotated[float, Doc("Both ways together.", ge=0, le=1)]
    p_adjusted: Annotated[
        float,
        Doc(
            "Corrected over the channels of the page; a claim is made up to 1 - confidence where the moment was given, else up to a quarter of it.",
            ge=0,
            le=1,
        ),
    ]
    count: Annotated[int, Doc("Episodes used, bursts merged.", ge=0)]
    heat: Annotated[bool, Doc("Whether the moment lies within two hours of switch-on, where heat may make it.")]
    daily: Annotated[bool, Doc("Whether it was found within a log of less than two days, where the hours of the day may make it.")]
    method: Annotated[str, Doc("Method in words.")]
    reads: Annotated[str, Doc("In words, in the log's own clock where it tells one.")]


def corrected(drafts: Sequence[RateChanged | None], limits: Limits) -> list[RateChanged | None]:
    """Correct over channels (Holm), decide, and say it."""
    asked = [item for item in drafts if item is not None]
    adjusted = iter(holm([item.p_value for item in asked]))
    out: list[RateChanged | None] = []
    for item in drafts:
        if item is None:
            out.append(None)
            continue
        p = next(adjusted)
        large = item.ratio >= FACTOR or item.ratio <= 1.0 / FACTOR
        apart = item.ratio_low > 1.0 or item.ratio_high < 1.0  # no claim beside an interval that holds 'the same'
        shown = p <= (1.0 if item.given else CLAIM) * (1.0 - limits.confidence) and large and apart
        answer = item.answer if shown else Way.NOT_SHOWN
        out.append(replace(item, p_adjusted=p, answer=answer, reads=_reads(item, answer)))
    return out


def made(
    got: RateSince | RateComparison,
    over: Over,
    units: tuple[int | None, int | None, int | None],
    moments: Sequence[tuple[int | None, float | None]],
    when: str,
    heat: bool = False,
    daily: bool = False,
) -> RateChanged:
    """A draft of a moment searched for, or of one that was given: its answer is the way that it would be, ``reads`` the moment in words."""
    (run, at_s), (low_run, low_s), (high_run, high_s) = moments
    if isinstance(got, RateSince):
        given, low, high, count = got.given, got.ratio_low, got.ratio_high, got.count
    else:
        given, low, high, count = True, got.low, got.high, got.before + got.after
    p_value = min(1.0, 2.0 * min(got.p_up, got.p_down))
    return RateChanged(
        answer=Way.MORE if got.p_up <= got.p_down else Way.LESS, over=over, given=given,
        unit=units[0], unit_low=units[1], unit_high=units[2],
        run=run, at_s=at_s, low_run=low_run, low_s=low_s, high_run=high_run, high_s=high_s,
        ratio=got.ratio, ratio_low=low, ratio_high=high, p_value=p_value, p_adjusted=p_value,
        count=count, heat=heat, daily=daily, method=got.method, reads=when,
    )  # fmt: skip


def _reads(item: RateChanged, answer: Way) -> str:
    low, high = digits_text(item.ratio_low), digits_text(item.ratio_high)
    if math.isinf(item.ratio_high):
        size = f"at least {low} times as often"
    elif item.ratio == 0.0:
        size = f"at most {high} times as often"
    else:
        size = f"some {digits_text(item.ratio)} times as often ({low} to {high})"
    if answer == Way.NOT_SHOWN:
        return f"No change of rate is shown {item.reads}: {size}." if item.given else "A change of rate is not shown."
    warm = " Within two hours of switch-on heat may do that." if item.heat else ""
    hour = " A log of less than two days cannot tell that from the hours of the day." if item.daily else ""
    return f"{answer.capitalize()} {item.reads}: {size}.{warm}{hour}"


def since_text(item: RateChanged | None) -> str:
    """The sentence of a page; '' where there is nothing to say."""
    return item.reads if item is not None and (item.answer != Way.NOT_SHOWN or item.given) else ""


def day_name(date: dt.date | None, number: int) -> str:
    """How a visit is called in a sentence."""
    return f"visit {number + 1}" if date is None else f"the visit of {date:%Y-%m-%d}"
