"""To which step an improvement is owed: the part that was changed, or the reseating before it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Protocol

from flicker.base.described import Doc
from flicker.base.result import Result
from flicker.case.model import NEW_PARTS, SAME_PARTS, Case
from flicker.evidence.compare.weighing import IMPROVED

TOLD = 100  # letters of work that a sentence can carry: a choice


class _Channel(Protocol):
    @property
    def channel(self) -> str: ...
    @property
    def outcome(self) -> str: ...


class _Step(Protocol):
    """A `Comparison` of two stages, as far as needed here."""

    @property
    def before(self) -> str: ...
    @property
    def after(self) -> str: ...
    @property
    def channels(self) -> Sequence[_Channel]: ...


@dataclass(frozen=True, slots=True)
class Work(Result):
    """What opened a stage; ``changed`` tells whether a part did (None: no work, or not told)."""

    stage: str
    what: str
    changed: bool | None


@dataclass(frozen=True, slots=True)
class Credit(Result):
    """The step that shows the improvement of a channel; ``stage`` is None where no single step shows it."""

    channel: Annotated[str, Doc("Channel.")]
    stage: Annotated[str | None, Doc("Stage whose step shows the improvement; null where no single step does.")]
    changed: Annotated[bool | None, Doc("Whether a part was changed for that stage; null where not told.")]
    controlled: Annotated[bool, Doc("Whether a stage without a changed part came before, or is this one.")]
    reads: Annotated[str, Doc("In words.")]


def work_of(stages: Sequence[str], case: Case | None) -> dict[str, Work]:
    """What was done before each stage: as the case tells, else as the stage's own name says."""
    out = {}
    for stage in stages:
        done = [part for part in case.parts if part.stage == stage] if case is not None else []
        if done:
            out[stage] = Work(stage, "; ".join(part.what for part in done), any(part.changed for part in done))
            continue
        said = stage.lower()
        changed = True if any(w in said for w in NEW_PARTS) else False if any(w in said for w in SAME_PARTS) else None
        out[stage] = Work(stage, stage, changed)
    return out


def credits_of(steps: Sequence[_Step], whole: _Step, work: Mapping[str, Work]) -> tuple[Credit, ...]:
    """Say for each channel that improved what it owes that to.

    A part is credited only if its own step shows the improvement. A stage without a changed part before it (reseating
    only) is the natural control: without one, the part and the handling cannot be told apart.
    """
    out = []
    for item in whole.channels:
        shown = [
            step for step in steps if any(c.channel == item.channel and c.outcome == IMPROVED for c in step.channels)
        ]
        if not shown:
            if item.outcome == IMPROVED and len(steps) > 1:
                said = (
                    f"{item.channel}: better from '{whole.before}' to '{whole.after}', but no single step shows it, so "
                    "nothing that was done can be credited with it."
                )
                out.append(Credit(item.channel, None, None, False, said))
            continue
        out.extend(_credit(item.channel, step, steps, work) for step in shown)
    return tuple(out)


def _quoted(stages: Sequence[str]) -> str:
    return " or ".join(f"'{stage}'" for stage in stages)


def _credit(channel: str, step: _Step, steps: Sequence[_Step], work: Mapping[str, Work]) -> Credit:
    done = work[step.after]
    order = [steps[0].before, *(item.after for item in steps)]
    place = order.index(step.after)
    earlier = [stage for stage in order[1:place] if work[stage].changed is False]
    later = [stage for stage in order[place + 1 :] if work[stage].changed]
    short = done.what != step.after and len(done.what) <= TOLD
    name = f"'{step.after}' ({done.what})" if short else f"'{step.after}'"
    controlled = bool(earlier) or done.changed is False
    if done.changed is False:
        said = f"{channel}: the improvement came with {name}, where no part was changed."
        if later:
            said += f" What was changed later ({_quoted(later)}) is not credited with it."
    elif done.changed and earlier:
        said = f"{channel}: the improvement came with {name}, not with {_quoted(earlier)} before it."
    elif done.changed:
        said = (
            f"{channel}: the improvement came with {name}. No log was taken after reseating only, so the part and the "
            "handling cannot be told apart."
        )
    else:
        said = f"{channel}: the improvement came with {name}; no work is recorded for that stage."
    return Credit(channel, step.after, done.changed, controlled, said)
