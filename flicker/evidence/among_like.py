"""How does a unit lie among its like? Rows of earlier jobs of its model in, counts out, and never more than the counts carry."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any

from flicker.base.formats import millivolts_text
from flicker.base.result import Doc, Result
from flicker.base.values import Fitness, VerdictWord

if TYPE_CHECKING:
    from flicker.evidence.channel import ChannelAssessment

# Name and kind of each column of a ledger, in order: one row per job, stage and channel.
COLUMNS: dict[str, str] = {
    "job": "string",
    "model": "string",
    "serial": "string",
    "complaint": "string",
    "stage": "string",
    "done": "string",  # what was done before the stage
    "changed": "boolean",  # whether a part is another one since
    "channel": "string",
    "verdict_before": "string",  # of the stage before; empty for the first
    "verdict": "string",
    "fitness_before": "string",
    "fitness": "string",
    "outcome": "string",  # this stage against the one before
    "cured": "string",
    "observed_h": "Float64",
    "episodes": "Int64",
    "per_hour": "Float64",
    "low_per_hour": "Float64",
    "high_per_hour": "Float64",
    "level_V": "Float64",  # at rest
    "sigma_V": "Float64",  # noise
    "case": "string",
    "error": "string",  # one sentence where the case could not be judged
    "version": "string",
}
FEWEST_JOBS = 3  # a range of fewer is no range: a choice
MOST_NAMED = 3  # kinds of work that a sentence names: a choice
OPEN = (VerdictWord.STEADY, VerdictWord.INCONCLUSIVE)  # words without a pattern to look for


@dataclass(frozen=True, slots=True)
class CuredBy(Result):
    """Work after which channels with this pattern were cured, and in how many jobs."""

    what: Annotated[str, Doc("What was done.")]
    jobs: Annotated[int, Doc("Jobs.", ge=1)]


@dataclass(frozen=True, slots=True)
class AmongLike(Result):
    """One channel among the channels of its model in the ledger; jobs are counted, nothing is inferred."""

    channel: Annotated[str, Doc("Name of the channel.")]
    model: Annotated[str, Doc("Maker and model.")]
    sound_jobs: Annotated[int, Doc("Jobs with a sound channel of that model: steady, and within limits.", ge=0)]
    low_V: Annotated[float | None, Doc("Least distance from zero at which these rest, volts; null below three jobs.")]
    high_V: Annotated[float | None, Doc("Largest, likewise.")]
    here_V: Annotated[float | None, Doc("Distance from zero at which this one rests, volts.")]
    alike_jobs: Annotated[int, Doc("Jobs of that model with a channel of this verdict, judged again after work on it.", ge=0)]
    cured_jobs: Annotated[int, Doc("Of these, jobs in which the channel was cured.", ge=0)]
    cured_by: Annotated[tuple[CuredBy, ...], Doc("By what, the most frequent first.")]
    reads: Annotated[str, Doc("In words.")]


def same_model(model: str) -> str:
    """A model as it is compared: no matter how it is spaced or capitalised."""
    return " ".join(model.split()).casefold()


def among_like(
    channels: Sequence[ChannelAssessment], rows: Sequence[dict[str, Any]], model: str, job: str | None = None
) -> tuple[AmongLike, ...]:
    """Set each channel among those of its model.

    Parameters
    ----------
    channels : sequence of ChannelAssessment
        Of the unit on the bench.
    rows : sequence of dict
        Of a ledger, keys as in `COLUMNS`.
    model : str
        Maker and model, as the ledger has it.
    job : str, optional
        The job itself, which is no job like it.
    """
    like = [
        row for row in rows
        if row["model"] and same_model(str(row["model"])) == same_model(model) and not row["error"] and (job is None or row["job"] != job)
    ]  # fmt: skip
    return tuple(_among(item, like, model) for item in channels)


def _among(item: ChannelAssessment, like: Sequence[dict[str, Any]], model: str) -> AmongLike:
    sound = [
        row for row in like
        if row["verdict"] == VerdictWord.STEADY and row["fitness"] == Fitness.WITHIN_LIMITS and row["level_V"] is not None
    ]  # fmt: skip
    levels = [abs(float(row["level_V"])) for row in sound]
    jobs = len({row["job"] for row in sound})
    here = None if item.baseline.level_V is None else abs(item.baseline.level_V)
    ends = (min(levels), max(levels)) if jobs >= FEWEST_JOBS else None
    worked = [row for row in like if row["done"] and row["verdict_before"] == item.verdict and item.verdict not in OPEN]
    alike = {row["job"] for row in worked}
    cured: dict[str, str] = {}  # by job: the last work counts
    for row in worked:
        if row["cured"] == "shown" or (row["outcome"] == "improved" and row["verdict"] == VerdictWord.STEADY):
            cured[str(row["job"])] = str(row["done"])
    by = tuple(CuredBy(what, number) for what, number in Counter(cured.values()).most_common())
    said = [_rest(model, jobs, ends, here)]
    if item.verdict not in OPEN:
        said.append(_pattern(item.verdict, len(alike), by))
    return AmongLike(
        channel=item.channel,
        model=model,
        sound_jobs=jobs,
        low_V=None if ends is None else ends[0],
        high_V=None if ends is None else ends[1],
        here_V=here,
        alike_jobs=len(alike),
        cured_jobs=len(cured),
        cured_by=by,
        reads=" ".join(said),
    )


def _rest(model: str, jobs: int, ends: tuple[float, float] | None, here: float | None) -> str:
    many = "1 job" if jobs == 1 else f"{jobs} jobs"
    if ends is None:
        return f"The ledger holds {many if jobs else 'no job'} with a sound channel of the {model}: too few to set this one against."
    text = f"Sound channels of the {model} rest {millivolts_text(ends[0])} to {millivolts_text(ends[1])} from zero ({many})"
    if here is None:
        return f"{text}."
    place = "beyond them all" if here > ends[1] else "nearer than them all" if here < ends[0] else "among them"
    return f"{text}; this one {millivolts_text(here)}, {place}."


def _pattern(verdict: str, jobs: int, by: Sequence[CuredBy]) -> str:
    if jobs == 0:
        return f"No job of this model with a channel that was {verdict} was logged again after work on it."
    cured = sum(item.jobs for item in by)
    of = f"Of {jobs} jobs with a channel that was {verdict}, {cured} {'was' if cured == 1 else 'were'} cured"
    if jobs == 1:
        of = f"One job had a channel that was {verdict}; it was {'cured' if cured else 'not cured'}"
    named = [f"{item.jobs} after '{item.what}'" for item in by[:MOST_NAMED]]
    rest = cured - sum(item.jobs for item in by[:MOST_NAMED])
    return of + (f": {', '.join(named)}" if named else "") + (f", {rest} after other work" if rest else "") + "."


