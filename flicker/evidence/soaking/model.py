"""A soak plan as a result, and its rows: hours by confidence, cold starts, power cycles, power-ups."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

from flicker._version import __version__
from flicker.base.result import Doc, Result, plain
from flicker.evidence.document.frames import SoakTables
from flicker.evidence.outlook.planned_falls import PlannedFall


@dataclass(frozen=True, slots=True)
class SoakRate(Result):
    """What is known of the rate, per observed hour (exact two-sided limits; null where only assumed)."""

    source: Annotated[str, Doc("Where the rate comes from.")]
    count: Annotated[int | None, Doc("Episodes seen; null where the rate was given.", ge=0)] = None
    observed_h: Annotated[float | None, Doc("In so many observed hours.", ge=0)] = None
    per_hour: Annotated[float | None, Doc("Episodes per observed hour.", ge=0)] = None
    low_per_hour: Annotated[float | None, Doc("Lower two-sided limit.", ge=0)] = None
    high_per_hour: Annotated[float | None, Doc("Upper two-sided limit.", ge=0, open=True)] = None
    dispersion: Annotated[float, Doc("Variance of the counts over that of single episodes.", ge=0)] = 1.0


@dataclass(frozen=True, slots=True)
class SoakRow(Result):
    """Hours for one confidence."""

    confidence: Annotated[float, Doc("Confidence of the intervals, a share between 0 and 1.", gt=0)]
    hours: Annotated[float, Doc("Observed hours.", ge=0, open=True)]


@dataclass(frozen=True, slots=True)
class AllowedRow(Result):
    """Hours for one number of episodes allowed."""

    allowed: Annotated[float, Doc("Episodes that the soak may show.", ge=0)]
    max_rate_per_h: Annotated[float, Doc("Rate excluded, episodes per hour.", gt=0)]
    hours: Annotated[float, Doc("Observed hours.", ge=0, open=True)]


@dataclass(frozen=True, slots=True)
class PowerUpPlan(Result):
    """The plan in cold starts."""

    power_ups: Annotated[int, Doc("Cold starts planned.", ge=0)]
    power_ups_if_share_known: Annotated[int, Doc("Cold starts if the share were known for certain.", ge=0)]
    hits: Annotated[int, Doc("Cold starts that showed the fault so far.", ge=0)]
    trials: Annotated[int, Doc("Cold starts tried so far.", ge=0)]
    cool_down_h: Annotated[float, Doc("Hours off before a cold start.", ge=0)]
    bench_h: Annotated[float, Doc("Hours on the bench, cooling included.", ge=0)]
    equal_hours: Annotated[float, Doc("Hours of plain soak that promise the same.", ge=0, open=True)]
    better_than_hours: Annotated[bool, Doc("Whether cold starts take less time.")]
    reads: Annotated[str, Doc("In words, for the owner of the unit.")]


@dataclass(frozen=True, slots=True)
class CyclePlan(Result):
    """The plan in power cycles."""

    cycles: Annotated[int, Doc("Power cycles planned.", ge=0)]
    run_length: Annotated[float, Doc("Hours of each.", ge=0)]
    exposure: Annotated[float, Doc("Observed hours in all.", ge=0)]
    bench_time: Annotated[float, Doc("Hours on the bench, cooling included.", ge=0)]
    chance: Annotated[float, Doc("Chance to see the fault at least once.", ge=0, le=1)]
    one_long_run: Annotated[float, Doc("Hours that one run without switching off would take.", ge=0, open=True)]
    confidence: Annotated[float, Doc("Confidence of the intervals, a share between 0 and 1.", gt=0)]
    cool_down: Annotated[float, Doc("Hours off between.", ge=0)]
    method: Annotated[str, Doc("The method by which the figures were found.")]
    counts: Annotated[tuple[int, ...], Doc("Episodes by time since power-up.")]
    hours: Annotated[tuple[float, ...], Doc("Observed hours by time since power-up.")]
    edges_h: Annotated[tuple[float, ...], Doc("Borders of these bins, hours since power-up.")]
    reads: Annotated[str, Doc("In words, for the owner of the unit.")]


@dataclass(frozen=True, slots=True)
class PowerUpsNeeded(Result):
    """A soak in power-ups, which differ by themselves: one long run promises less."""

    power_ups: Annotated[int, Doc("Power-ups to run.", ge=1)]
    each_h: Annotated[float, Doc("Observed hours of each: the mean of those seen.", gt=0)]
    miss: Annotated[float, Doc("Chance that all of them stay clean although nothing was repaired.", ge=0, le=1)]
    seen_power_ups: Annotated[int, Doc("Power-ups from which rate and scatter were taken.", ge=1)]
    scatter: Annotated[float, Doc("Scale of what is allowed for how power-ups differ.", gt=0)]


@dataclass(frozen=True, slots=True)
class SoakPlan(SoakTables, Result):
    """A soak: how many observed hours, and what they promise.

    ``kind`` is 'catch' (see the fault at least once with the chance ``confidence``), 'upper limit' (nothing was seen
    so far: the hours catch a fault as frequent as the log allows, and no less) or 'demonstrate' (so many hours with at
    most ``allowed`` episodes exclude the rate). ``table`` lists confidence against hours; ``demonstrate`` the hours
    with 0, 1 or 2 episodes allowed; ``comparison`` the hours after a repair that would show a fall.
    ``power_ups_needed`` says as how many power-ups of the logged length the hours are to be run, where counts per
    power-up are known: power-ups differ by themselves, so one long run promises less.
    """

    kind: Annotated[
        str,
        Doc(
            "'catch': see the fault at least once; 'upper limit': nothing was seen so far; 'demonstrate': exclude a rate.",
            values=("catch", "upper limit", "demonstrate"),
        ),
    ]
    hours: Annotated[float, Doc("Observed hours planned.", ge=0, open=True)]
    hours_if_rate_known: Annotated[float | None, Doc("Hours if the rate were known for certain.", ge=0, open=True)]
    confidence: Annotated[float, Doc("Confidence of the intervals, a share between 0 and 1.", gt=0)]
    rate: Annotated[SoakRate, Doc("")]
    detectable_share: Annotated[float, Doc("Share of such glitches that the meter sees.", ge=0, le=1)]
    allowed: Annotated[int, Doc("Episodes that a demonstration may show.", ge=0)]
    table: Annotated[tuple[SoakRow, ...], Doc("Hours by confidence.")]
    demonstrate: Annotated[tuple[AllowedRow, ...], Doc("Hours by episodes allowed.")]
    power_ups: Annotated[PowerUpPlan | None, Doc("The plan in cold starts; null where no cold starts were told.")]
    cycles: Annotated[
        CyclePlan | None, Doc("The plan in power cycles; null without two power-ups and an episode in the logs.")
    ]
    comparison: Annotated[
        tuple[PlannedFall, ...],
        Doc("What shows a fall after a repair: the fault gone, and where a comparison is planned also a half and a tenth."),
    ]
    cautions: Annotated[tuple[str, ...], Doc("What to be careful about, in sentences.")]
    method: Annotated[str, Doc("The method by which the figures were found.")]
    reads: Annotated[str, Doc("In words, for the owner of the unit.")] = ""
    seed: int = 0
    power_ups_needed: Annotated[
        PowerUpsNeeded | None,
        Doc("As how many power-ups of the logged length the hours are to be run; null where only a total is known."),
    ] = None

    def to_dict(self) -> dict[str, Any]:
        """Return the document of the schema 'flicker/soak/2'."""
        own = plain({name: getattr(self, name) for name in self.__slots__})
        return {"schema": "flicker/soak/2", "version": __version__, "correction": "none: one plan, one promise", **own}
