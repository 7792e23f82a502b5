"""The keys of every document, and of rows that no result class holds; the rest stands beside the fields of the results.

`tests/tools/make_schemas.py` makes the JSON Schemas from here and from the annotated classes.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal, TypedDict

from flicker.base.limits import Limits
from flicker.base.result import Doc
from flicker.case.model import CaseChannel, CaseLog, Complaint, Meter, Part
from flicker.evidence.among_like import AmongLike
from flicker.evidence.channel import ChannelAssessment
from flicker.evidence.compare.compared import ChannelComparison, SideFigures
from flicker.evidence.compare.judged import SharedChange
from flicker.evidence.compare.stages import Credit
from flicker.evidence.document.rows import FITNESS, WORD
from flicker.evidence.questions.auxiliary_channels import CompanionResult
from flicker.evidence.questions.together import Coincidence
from flicker.evidence.soaking.model import SoakPlan
from flicker.evidence.visits.visited import Visits
from flicker.evidence.watch.watching import ChannelState, Design, Event, WatchSummary
from flicker.evidence.words import Next
from flicker.logs.model import Run

# Keys that most documents have.
NUMBERED = Doc("Name and number of this schema; adding a key keeps the number, changing or removing one raises it.")
Version = Annotated[str, Doc("Version of flicker that wrote the document.")]
Seed = Annotated[
    int, Doc("Seed of every Monte Carlo method used; same input, same version and same seed give the same document.")
]
Correction = Annotated[str, Doc("How p-values that are looked at together were corrected.")]
Cautions = Annotated[list[str], Doc("What to be careful about, in sentences.")]
Reads = Annotated[str, Doc("In words, for the owner of the unit.")]


class Head(TypedDict):
    """What every document about a unit begins with."""

    version: Version
    seed: Seed
    correction: Correction


class Told(Head):
    """A document with one sentence for the owner, and cautions."""

    cautions: Cautions
    reads: Reads


class AssessmentDocument(Head):
    """What `flicker assess --json` prints: the judgement of one unit over its runs."""

    schema: Annotated[Literal["flicker/assessment/2"], NUMBERED]
    limits: Annotated[Limits, Doc("")]
    runs: Annotated[list[Run], Doc("Runs in time order.", least=1)]
    channels: Annotated[list[ChannelAssessment], Doc("One entry per channel judged.", least=1)]
    companions: Annotated[list[CompanionResult], Doc("Columns beside the outputs, which get no verdict.")]
    coincidence: Annotated[Coincidence | None, Doc("What the channels share; null with a single channel.")]
    next: Annotated[Next, Doc("The longest of the channels' own.")]
    cautions: Cautions
    ledger: Annotated[list[AmongLike], Doc("Each channel among those of its model in the shop's ledger; empty where none was given.")]


class CaseDocument(TypedDict):
    """What `flicker case check --json` prints: a job as its case file records it; null is 'not recorded'."""

    schema: Annotated[Literal["flicker/case/1"], NUMBERED]
    version: Version
    unit: Annotated[str | None, Doc("Maker and model.")]
    serial: Annotated[str | None, Doc("Serial number.")]
    job: Annotated[str | None, Doc("Job number.")]
    output: Annotated[
        str, Doc("Kind of output.", values=("direct", "servo", "capacitor", "transformer", "bridged", "headphone"))
    ]
    complaint: Annotated[Complaint, Doc("What was complained of.")]
    channels: Annotated[list[CaseChannel], Doc("Columns of the logs.")]
    meter: Annotated[Meter, Doc("The meter.")]
    meters: Annotated[list[Meter], Doc("Meters that some logs name, beside the usual one.")]
    logs: Annotated[list[CaseLog], Doc("Logs of the case.")]
    parts: Annotated[list[Part], Doc("Parts changed, in order.")]
    limits: Annotated[Limits, Doc("")]
    not_recorded: Annotated[list[str], Doc("What the case does not say.")]
    marks_column: Annotated[str | None, Doc("Column of the logs that holds marks, where the case names one.")]
    reading: Annotated[dict[str, Any], Doc("Options with which all logs are read, by name as in Python.")]


class ComparisonDocument(Told):
    """What `flicker compare --json` prints: two stages side by side."""

    schema: Annotated[Literal["flicker/comparison/2"], NUMBERED]
    stages: Annotated[list[str], Doc("The two stages, before first.", least=2)]
    control: Annotated[str | None, Doc("The channel that was not touched; null if none was named.")]
    limits: Annotated[Limits, Doc("")]
    channels: Annotated[list[ChannelComparison], Doc("One entry per channel that both sides have.", least=1)]
    shared: Annotated[SharedChange | None, Doc("Swings that several outputs showed at once, compared apart; null where none did.")]
    not_comparable: Annotated[
        list[str],
        Doc("Why the two sides may not be compared, by what the case tells; empty where nothing speaks against it."),
    ]


class JobDocument(TypedDict):
    """A case judged by stages (`flicker.judge_case`)."""

    schema: Annotated[Literal["flicker/job/1"], NUMBERED]
    version: Version
    case: Annotated[CaseDocument, Doc("")]
    stages: Annotated[list[JobStage], Doc("Stages in order.", least=1)]
    comparison: Annotated[StagesDocument | None, Doc("The stages side by side; null with one stage.")]
    fingerprints: Annotated[list[Fingerprint], Doc("Files judged.")]
    changed: Annotated[list[str], Doc("Files whose content is not the one that the case records.")]
    not_comparable: Annotated[list[str], Doc("Why stages cannot be compared.")]
    needed_h: Annotated[float, Doc("Clean hours that the complaint asks for.", ge=0)]
    needed_starts: Annotated[float | None, Doc("Or so many clean cold starts.", ge=0)]
    reads: Reads
    cautions: Cautions


class JobStage(TypedDict):
    """One stage."""

    stage: Annotated[str, Doc("Name of the stage.")]
    assessment: Annotated[AssessmentDocument, Doc("")]


class Fingerprint(TypedDict):
    """One file."""

    file: Annotated[str, Doc("File of the log.")]
    sha256: Annotated[str | None, Doc("SHA-256 of its content.")]


class SoakDocument(Head):
    """What `flicker soak --json` prints: a plan; it starts nothing."""

    schema: Annotated[Literal["flicker/soak/2"], NUMBERED]
    plan: SoakPlan


class StagesDocument(Told):
    """What `flicker compare --stage ... --json` prints: any number of stages in order."""

    schema: Annotated[Literal["flicker/stages/2"], NUMBERED]
    stages: Annotated[list[str], Doc("Stages in order.", least=2)]
    steps: Annotated[list[ComparisonDocument], Doc("Each stage against the one before.", least=1)]
    whole: Annotated[ComparisonDocument, Doc("The last stage against the first.")]
    credits: Annotated[list[Credit], Doc("What each improvement is owed to.")]


class SurveyRow(TypedDict):
    """One row of the table of `flicker survey`: a channel, or a file that could not be judged."""

    source: Annotated[str, Doc("Path as given.")]
    channel: Annotated[str | None, Doc("Name of the channel.")]
    verdict: Annotated[str | None, WORD]
    tail: Annotated[str | None, Doc("What the word rests on.")]
    fitness: Annotated[str | None, FITNESS]
    runs: Annotated[int | None, Doc("Runs of the log.", ge=0)]
    observed_s: Annotated[float | None, Doc("Observed seconds.", ge=0)]
    episodes: Annotated[int | None, Doc("Episodes of its own.", ge=0)]
    excursions: Annotated[int | None, Doc("Excursions.", ge=0)]
    per_hour: Annotated[float | None, Doc("Episodes per observed hour.", ge=0)]
    low_per_hour: Annotated[float | None, Doc("Lower two-sided limit.", ge=0)]
    high_per_hour: Annotated[float | None, Doc("Upper two-sided limit.", ge=0)]
    in_excursion_s: Annotated[float | None, Doc("Seconds beyond the threshold.", ge=0)]
    level_V: Annotated[float | None, Doc("Settled level, volts.")]
    sigma_V: Annotated[float | None, Doc("Robust sigma at rest, volts.", ge=0)]
    largest_V: Annotated[float | None, Doc("Largest deviation, volts without sign.", ge=0)]
    trips: Annotated[int | None, Doc("Times the assumed relay opened.", ge=0)]
    reads: Annotated[str | None, Doc("In words.")]
    error: Annotated[str | None, Doc("One sentence where the file could not be judged; all figures are then null.")]
    version: Annotated[str, Doc("Version of flicker.")]
    key: Annotated[str, Doc("Identifies file, reader's arguments, limits and version.")]


class VisitsDocument(Head):
    """What `flicker visits --json` prints: one unit over visits months apart."""

    schema: Annotated[Literal["flicker/visits/2"], NUMBERED]
    result: Visits


class WatchFirstLine(TypedDict):
    """The rule of the watch."""

    schema: Annotated[Literal["flicker/watch/1"], Doc("Name and number of this schema.")]
    event: Annotated[Literal["design"], Doc("First line: the rule, fixed before the start.")]
    version: Version
    design: Design


class WatchStatusLine(TypedDict):
    """Where the watch stands, about once a minute."""

    event: Annotated[Literal["status"], Doc("Where the watch stands.")]
    samples: Annotated[int, Doc("Samples read.", ge=0)]
    channels: Annotated[list[ChannelState], Doc("Channels so far.")]


class WatchLastLine(Head):
    """What the watch has shown."""

    event: Annotated[Literal["summary"], Doc("Last line.")]
    schema: Annotated[Literal["flicker/watch/1"], NUMBERED]
    summary: WatchSummary


# By name of the document, as in `flicker.present.schema.NAMES`.
DOCUMENTS: dict[str, type[Any]] = {
    "flicker/assessment/2": AssessmentDocument,
    "flicker/comparison/2": ComparisonDocument,
    "flicker/stages/2": StagesDocument,
    "flicker/visits/2": VisitsDocument,
    "flicker/soak/2": SoakDocument,
    "flicker/case/1": CaseDocument,
    "flicker/job/1": JobDocument,
    "flicker/survey-row/1": SurveyRow,
}
# A document that is one of several lines.
LINES: dict[str, tuple[str, tuple[type[Any], ...]]] = {
    "flicker/watch/1": (
        "A line that `flicker watch --json` prints; the last is the summary.",
        (WatchFirstLine, Event, WatchStatusLine, WatchLastLine),
    )
}

# Results whose `to_dict` puts the keys of one field beside its own, or adds a property.
SPREAD: dict[type[Any], str] = {
    SideFigures: "rate",
    WatchFirstLine: "design",
    WatchLastLine: "summary",
    SoakDocument: "plan",
    VisitsDocument: "result",
}
ADDED: dict[type[Any], dict[str, Any]] = {
    CaseLog: {
        "conditions": Annotated[dict[str, str], Doc("Conditions in the case's own words: any names, text each.")],
        "reading": Annotated[dict[str, Any], Doc("Options with which the log is read, by name as in Python.")],
    },
    Run: {"observed_s": Annotated[float, Doc("Seconds covered by samples.", ge=0)]},
}
