"""What is told of two stages side by side, and of any number of them in order."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from flicker.base.limits import Limits
from flicker.base.result import Result, plain
from flicker.evidence.assessment import Assessment
from flicker.evidence.compare.compared import ChannelComparison
from flicker.evidence.compare.credit import Credit
from flicker.evidence.compare.shared import SharedChange
from flicker.evidence.document.frames import ComparisonTables, StagesTables
from flicker.evidence.document.head import ByChannel, head


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
