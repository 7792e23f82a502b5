"""What is told of two stages side by side, of any number in order, and to which step an improvement is owed: the part or the reseating."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Annotated, Any

from flicker.base.limits import Limits
from flicker.base.result import Doc, Result, plain
from flicker.case.model import NEW_PARTS, SAME_PARTS, Case
from flicker.evidence.assessment import Assessment
from flicker.evidence.compare.compared import ChannelComparison
from flicker.evidence.compare.judged import SharedChange
from flicker.evidence.compare.weighing import IMPROVED
from flicker.evidence.document.frames import ComparisonTables, StagesTables
from flicker.evidence.document.head import ByChannel, head

TOLD = 100  # letters of work that a sentence can carry: a choice


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


def credits_of(steps: Sequence[Comparison], whole: Comparison, work: Mapping[str, Work]) -> tuple[Credit, ...]:
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


def _credit(channel: str, step: Comparison, steps: Sequence[Comparison], work: Mapping[str, Work]) -> Credit:
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


@dataclass(frozen=True, slots=True)
class Comparison(ByChannel[ChannelComparison], ComparisonTables, Result):
    """Two stages side by side; ``to_dict`` follows the schema 'flicker/comparison/2'.

    The two assessments are kept for charts and reports; they are not part of the document.
    """

    before: str
    after: str
    channels: tuple[ChannelComparison, ...]
    cautions: tuple[str, ...]
    control: str | None
    limits: Limits
    correction: str
    before_assessment: Assessment = field(repr=False)
    after_assessment: Assessment = field(repr=False)
    seed: int = 0
    unlike: tuple[str, ...] = ()
    shared: SharedChange | None = None

    def to_dict(self) -> dict[str, Any]:
        """Return the document of the schema 'flicker/comparison/2'."""
        return {
            **head("flicker/comparison/2", self.seed, self.correction),
            "stages": [self.before, self.after],
            "control": self.control,
            "limits": plain(self.limits),
            "channels": [item.to_dict() for item in self.channels],
            "shared": plain(self.shared),
            "not_comparable": list(self.unlike),
            "cautions": list(self.cautions),
            "reads": self.reads,
        }


@dataclass(frozen=True, slots=True)
class StageComparison(StagesTables, Result):
    """Any number of stages in order: each against the one before, and the last against the first."""

    stages: tuple[str, ...]
    steps: tuple[Comparison, ...]
    whole: Comparison
    cautions: tuple[str, ...]
    credits: tuple[Credit, ...] = ()

    @property
    def shown(self) -> tuple[Comparison, ...]:
        """Each step, and the last stage against the first where that is another comparison."""
        return self.steps if len(self.steps) == 1 else (*self.steps, self.whole)

    @property
    def not_comparable(self) -> tuple[str, ...]:
        """Why some of the stages may not be compared, by what the case tells."""
        return tuple(dict.fromkeys(text for step in (*self.steps, self.whole) for text in step.unlike))

    @property
    def reads(self) -> str:
        """Each step in its own words, and what the improvement is owed to."""
        told = [f"{step.before} to {step.after}: {step.reads}" for step in self.steps]
        return " ".join([*told, *(f"{item.reads[0].upper()}{item.reads[1:]}" for item in self.credits)])

    def to_dict(self) -> dict[str, Any]:
        """Return the stages as a list of comparisons, each of the schema 'flicker/comparison/2'."""
        return {
            **head("flicker/stages/2", self.whole.seed, self.whole.correction),
            "stages": list(self.stages),
            "steps": [step.to_dict() for step in self.steps],
            "whole": self.whole.to_dict(),
            "credits": plain(self.credits),
            "cautions": list(self.cautions),
            "reads": self.reads,
        }
