"""`Finding`, one answer to one question about one channel; Holm's correction of p-values that are looked at together."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Annotated

from flicker.base.result import Doc, Result
from flicker.base.values import Answer, Basis

YES, NO, NOT_SHOWN = Answer.YES, Answer.NO, Answer.NOT_SHOWN

# Questions whose p-values are corrected together (Holm), by channel. The questions of growth are a family of the whole
# page and come corrected; correcting across both would halve the power where it is needed (docs: DEVELOPERS).
FAMILIES: tuple[frozenset[str], ...] = (frozenset({"intermittent", "noise", "drift", "level change"}),)
GROWTH = frozenset({"more often", "larger", "worse with age", "larger with age"})


@dataclass(frozen=True, slots=True)
class Finding(Result):
    """Answer to a question: 'yes' shown and large enough to matter, 'no' shown to be within the limit, else 'not shown'.

    ``effect`` with ``low`` and ``high`` is in ``unit``; ``p_adjusted`` is ``p_value`` corrected within its family;
    ``sided`` is 'one' or 'two'. ``holds`` tells whether the effect is past its limit, whatever the p-value says;
    ``basis`` what the answer rests on, where there are several ways.
    """

    question: Annotated[str, Doc("What was asked.")]
    answer: Annotated[
        str,
        Doc(
            "'yes': shown and past the limit; 'no': shown to be within the limit; 'not shown': the log cannot tell.",
            values=("yes", "no", "not shown"),
        ),
    ]
    method: Annotated[str, Doc("The method by which the figures were found.")]
    reads: Annotated[str, Doc("The answer in words, for the technician.")]
    statistic: Annotated[
        float | None, Doc("Value of the test statistic; null without a test or beyond all numbers.", open=True)
    ] = None
    p_value: Annotated[float | None, Doc("p-value as computed.", ge=0, le=1)] = None
    p_adjusted: Annotated[float | None, Doc("p-value corrected within its family of questions.", ge=0, le=1)] = None
    sided: Annotated[
        str | None, Doc("Whether the test looks to one side or to both; null without a test.", values=("one", "two"))
    ] = None
    effect: Annotated[float | None, Doc("Size of the effect, in unit.", open=True)] = None
    low: Annotated[float | None, Doc("Lower end of the effect's interval, in unit.", open=True)] = None
    high: Annotated[float | None, Doc("Upper end of the effect's interval, in unit.", open=True)] = None
    unit: Annotated[str | None, Doc("Unit of effect, low, high and limit.")] = None
    limit: Annotated[float | None, Doc("Limit past which the effect matters, in unit.")] = None
    holds: Annotated[bool, Doc("Whether the effect is past its limit, whatever the p-value says.")] = False
    basis: Annotated[
        Basis | None,
        Doc(
            "What the answer rests on, where there are several ways.",
            values=("rate of episodes", "time beyond the threshold", "reproduced by hand", "against the shorted lead"),
        ),
    ] = None


def holm(p_values: Sequence[float]) -> list[float]:
    """Holm's step-down correction (Scandinavian Journal of Statistics 6, 1979, 65-70), in the order given."""
    order = sorted(range(len(p_values)), key=lambda index: p_values[index])
    out = [1.0] * len(p_values)
    reached = 0.0
    for rank, index in enumerate(order):
        reached = max(reached, min(1.0, (len(p_values) - rank) * p_values[index]))
        out[index] = reached
    return out


def correct(findings: Iterable[Finding], confidence: float) -> tuple[Finding, ...]:
    """Correct p-values within each family; a 'yes' that no longer stands becomes 'not shown'.

    A question that could not be put to the data (p missing) does not count as looked at; one that comes corrected
    stays as it is.
    """
    found = list(findings)
    for family in FAMILIES:
        places = [k for k, item in enumerate(found) if item.question in family and item.p_value is not None]
        adjusted = holm([float(found[k].p_value or 0.0) for k in places])
        for k, p_adjusted in zip(places, adjusted, strict=True):
            found[k] = _settle(found[k], p_adjusted, confidence)
    for k, item in enumerate(found):
        if item.p_value is not None and item.p_adjusted is None:
            found[k] = _settle(item, item.p_value, confidence)
    return tuple(found)


def _settle(item: Finding, p_adjusted: float, confidence: float) -> Finding:
    answer = item.answer
    if answer != NO:
        answer = YES if item.holds and p_adjusted <= 1.0 - confidence else NOT_SHOWN
    return dataclasses.replace(item, p_adjusted=p_adjusted, answer=answer)


def by_question(findings: Iterable[Finding]) -> dict[str, Finding]:
    """Findings by their question."""
    return {item.question: item for item in findings}
