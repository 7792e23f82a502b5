"""The owner's page: is it gone, may a loudspeaker be connected, what happens next; the case behind it, and what was not tested."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from flicker.base.formats import channel_text, digits_text, lasting_text, seen_text, times_text, volts_text
from flicker.base.values import Fitness
from flicker.case.case_file import Case
from flicker.evidence.channel import ChannelAssessment
from flicker.evidence.compare.compared import ChannelComparison, clean_power_ups_text
from flicker.evidence.compare.weighing import IMPROVED, NO_CHANGE, WORSE
from flicker.evidence.job import JobResult, not_tested
from flicker.evidence.questions.registry import questions
from flicker.evidence.verdict import DANGER, DO_NOT_CONNECT, WITHIN_LIMITS
from flicker.present.report.parts import (
    Markup,
    bullets,
    date_text,
    dates_text,
    facts,
    first_step,
    table,
    tag,
    text,
    verdict_card,
    what_next,
)
from flicker.present.said import SWINGS


@dataclass(frozen=True, slots=True)
class Answers:
    """``mood`` is 'alarm', 'calm' or 'open', for the drawing; the rest are sentences."""

    mood: str
    headline: str
    counts: tuple[str, ...]
    may: str
    next: str


def answers_of(job: JobResult) -> Answers:
    """The answers that the last stage, set against the first, gives; where they are not known, that is said."""
    last = job.last.channels
    compared = {} if job.comparison is None else {item.channel: item for item in job.comparison.whole.channels}
    dangerous = [item for item in last if item.fitness == DO_NOT_CONNECT]
    safe = not _open(last, compared)
    mood = "alarm" if dangerous else "calm" if safe else "open"
    return Answers(mood, _headline(job, compared), _counts(job, compared), _may(last, compared), _next(last, compared))


def _headline(job: JobResult, compared: dict[str, ChannelComparison]) -> str:
    """The state of the fault, of all channels that ever showed one; never better than the worst of them."""
    last = job.last.channels
    dangerous = [item.channel for item in last if item.fitness == DO_NOT_CONNECT]
    if dangerous:
        return f"Do not connect a loudspeaker ({' and '.join(dangerous)})."
    if not compared:
        return _headline_alone(last)
    if job.not_comparable:
        return "Whether the fault is gone cannot be told: the logs were made under different conditions."
    states = {item.channel: _state(item, compared.get(item.channel)) for item in last}
    told = {name: state for name, state in states.items() if state}
    if not told:
        return "The fault you reported was never seen on the bench."
    if len(set(told.values())) == 1:
        (state,) = set(told.values())
        return f"The fault {'you reported ' if state == GONE else ''}{state}."
    said = [f"on {_the(name)} {'it' if place else 'the fault'} {state}" for place, (name, state) in enumerate(told.items())]
    whole = "; ".join(said)
    return f"{whole[:1].upper()}{whole[1:]}."


def _the(channel: str) -> str:
    """A channel's name within a sentence."""
    said = channel_text(channel)
    return f"the{said[3:]}" if said.startswith("The ") else said


GONE = "is gone"
FAULTY = frozenset({"noisy", "drifting", "degrading"})


def _state(item: ChannelAssessment, found: ChannelComparison | None) -> str:
    """What became of a channel's fault, as the end of a sentence; empty where it never showed one."""
    again, faulty = item.rate.episodes, f"is not gone ({item.verdict})" if item.verdict in FAULTY else ""
    if not again and (found is None or not found.before.rate.episodes):
        return faulty
    if found is None:
        return "is there"
    swings, worse = found.aspect in SWINGS, found.outcome == WORSE
    rules = (
        (found.not_comparable, "cannot be judged: the logs were made under different conditions"),
        (worse and swings, "has become worse"),
        (worse, f"is not cured: the repair made something else worse ({found.aspect})"),
        (found.cured == "shown", faulty or GONE),
        (found.cured == "not yet" and not again, "did not come again, but that it is gone is not shown yet"),
        (found.outcome == IMPROVED and swings, "is better, but not gone"),
        (again, "is still there"),
    )
    return next((said for holds, said in rules if holds), "is not shown to be gone")


def _headline_alone(last: tuple[ChannelAssessment, ...]) -> str:
    """The headline of a unit with one stage."""
    episodes = sum(item.rate.episodes for item in last)
    seen = lasting_text(max((item.observed_s for item in last), default=0.0))
    if episodes:
        return f"The fault was seen: {times_text(episodes)} in {seen}."
    bad = [f"{item.channel} {item.verdict}" for item in last if item.verdict in FAULTY]
    if bad:
        return f"A fault was seen: {', '.join(bad)}."
    return f"The fault did not show itself in {seen}; that does not prove it gone."


def _counts(job: JobResult, compared: dict[str, ChannelComparison]) -> tuple[str, ...]:
    """Each channel's swings before and after, in one line; channels that never swung share one."""
    lines, silent = [], []
    for item in job.last.channels:
        found = compared.get(item.channel)
        now = seen_text(item.rate.episodes, item.observed_s)
        if found is None:
            lines.append(f"{item.channel}: {now}.")
        elif found.before.rate.episodes == 0 and item.rate.episodes == 0:
            silent.append(item.channel)
        else:
            before = seen_text(found.before.rate.episodes, found.before.rate.observed_s)
            lines.append(f"{item.channel}: {before} before, {now} after.")
    if silent:
        lines.append(f"{', '.join(silent)}: no swing before, none after.")
    return tuple(lines)


def _open(channels: tuple[ChannelAssessment, ...], compared: dict[str, ChannelComparison]) -> list[str]:
    """Channels that are not within limits, by their own logs or beside the fault that came before."""
    found = [(item, compared.get(item.channel)) for item in channels]
    return [a.channel for a, b in found if a.fitness != WITHIN_LIMITS or (b is not None and b.after.fitness != WITHIN_LIMITS)]


def _may(channels: tuple[ChannelAssessment, ...], compared: dict[str, ChannelComparison]) -> str:
    watched = lasting_text(min((item.observed_s for item in channels), default=0.0))
    dangerous = [item for item in channels if item.fitness == DO_NOT_CONNECT]
    if dangerous:
        peaks = [item.relay.peak_V for item in dangerous if item.relay.peak_V is not None]
        most = f": up to {volts_text(max(map(abs, peaks)))} of direct voltage was seen" if peaks else ""
        return f"No loudspeaker may be connected to {' or '.join(item.channel for item in dangerous)}{most}."
    open_ = _open(channels, compared)
    if not open_:
        return f"A loudspeaker may be connected: every channel stayed within its limits for the {watched} watched."
    rest = [item.channel for item in channels if item.channel not in open_]
    also = f" ({', '.join(rest)}: within limits)" if rest else ""
    return f"No loudspeaker yet: {' and '.join(open_)} not yet shown to be safe in the {watched} watched{also}."


def _next(channels: tuple[ChannelAssessment, ...], compared: dict[str, ChannelComparison]) -> str:
    """What to do about the channel that asks for most."""
    worst = min(channels, key=lambda item: (DANGER.index(Fitness(item.fitness)), -_missing_h(item, compared)))
    said = next_step(worst, compared.get(worst.channel))
    return (
        said
        if len(channels) == 1 or worst.fitness == WITHIN_LIMITS
        else f"{worst.channel}: {said[:1].lower()}{said[1:]}"
    )


def _missing_h(item: ChannelAssessment, compared: dict[str, ChannelComparison]) -> float:
    found = compared.get(item.channel)
    return (found.clean_hours_needed or 0.0) if found is not None else (item.next.soak_h or 0.0)


def next_step(item: ChannelAssessment, found: ChannelComparison | None) -> str:
    """What to do about a channel, for the owner and the one who repairs."""
    first = first_step(item)
    again = item.verdict == "one-off" and item.fitness != DO_NOT_CONNECT  # after the work: what was done is to be tried, not put off
    if found is None or found.cured not in {"not yet", "shown"} or not (again or item.verdict == "steady"):
        return first if item.verdict in {"steady", "noisy", "degrading", "drifting"} else what_next(item)
    if found.cured == "shown":
        return f"Nothing more for this complaint: more than {digits_text(found.concern_per_h)} per hour is excluded."
    if found.clean_hours_needed is None:
        if found.not_comparable:
            return "Log again under the conditions of the first log."
        return "Log again in some weeks: clean logs show that it stays away, not that the work did it."
    missing = clean_power_ups_text(found.clean_hours_needed, found.power_ups_needed, "" if again else " more")
    begin = f"It was seen again: begin a new soak of {missing}" if again else f"Log {missing}"
    starts = found.cold_starts_needed
    also = f", or {starts} more clean start{'' if starts == 1 else 's'} from cold" if starts else ""
    return f"{begin} without an episode{also}; then the cure is shown."


NOT_RECORDED = "not recorded"
MANY_PARTS = 4  # more pieces of work than this are told by stage, so that the owner's page stays one sheet


def case_head(job: JobResult) -> tuple[str, str]:
    """Title and the line below it; a date that the case does not tell is that of the file, where it stands there."""
    case = job.case
    days = [_day(log.date) for log in case.logs if log.date is not None]
    when = dates_text(days or [_day(log.source.start) for part in job.logs for log in part if log.source.start is not None])
    people = ", ".join(dict.fromkeys(log.by for log in case.logs if log.by))
    said = [
        f"Job {case.job or NOT_RECORDED}",
        f"serial {case.serial or NOT_RECORDED}",
        f"logged {when or NOT_RECORDED}" + (f" by {people}" if people else ""),
    ]
    return case.unit or "Unit not recorded", "; ".join(said) + "."


def _day(when: date) -> date:
    return when.date() if isinstance(when, datetime) else when


def complaint_text(case: Case) -> str:
    """What the owner complained of, in the owner's words, and what rate that amounts to."""
    words, reads = case.complaint.text, case.complaint.reads
    return f"“{words}”. {reads}" if words else reads


def owner_cards(job: JobResult) -> Markup:
    """Each channel: may a loudspeaker hang on it, what it does, and what became of the complaint."""
    compared = {item.channel: item for item in job.comparison.whole.channels} if job.comparison is not None else {}
    cards = [
        verdict_card(
            item,
            _became(compared.get(item.channel), item),
            facts([("What next", next_step(item, compared.get(item.channel)))]),
        )
        for item in job.last.channels
    ]
    return tag("div", cards, class_="tags")


def _became(found: ChannelComparison | None, item: ChannelAssessment) -> Markup | None:
    """What became of the fault since the unit came in, in one sentence."""
    if found is None:
        return None
    before, after = (side.rate for side in (found.before, found.after))
    then = f"{times_text(before.episodes)} in {lasting_text(before.observed_s)} then"
    often = " (swings close together count once)" if item.excursions_total != after.episodes else ""
    seen = f"{then}, {seen_text(after.episodes, after.observed_s)} now{often}."
    better = found.outcome == IMPROVED
    why = "".join(found.not_comparable[:1]).removeprefix("not comparable: ")
    others = " ".join(one.reads for one in found.aspects if one.outcome != NO_CHANGE)
    told = (
        (found.cured == "shown", "Cured: ", seen),
        (bool(found.not_comparable), "Not comparable with how it came in: ", f"{why}."),
        (
            found.outcome != NO_CHANGE and found.aspect not in SWINGS,
            f"{'Better' if better else 'Worse'} than when it came in: ",
            others,
        ),
        (found.outcome == WORSE, "Worse than when it came in: ", seen),
        (found.cured == "no", "Better, but not cured: " if better else "Not cured: ", seen),
        (found.cured == "not yet", "Better, but the cure is not yet shown: " if better else "A cure is not yet shown: ", seen),
        (better, "Better than when it came in", f" ({found.aspect})."),
    )
    return next((tag("p", tag("strong", head), said) for holds, head, said in told if holds), None)


def what_was_done(job: JobResult) -> Markup:
    """Work, and what the improvement is owed to."""
    rows = _work(job.case)
    owed = job.comparison.credits if job.comparison is not None else ()
    parts = [
        table(("date", "stage", "work"), rows) if rows else tag("p", "No work is recorded."),
        [tag("p", f"{item.reads[:1].upper()}{item.reads[1:]}") for item in owed],
        [tag("p", tag("strong", line), class_="warn") for line in job.changed],
    ]
    return Markup(text(parts))


def _work(case: Case) -> list[tuple[str, str, str]]:
    """A row for each piece of work; where there are many, one for each stage."""
    if len(case.parts) <= MANY_PARTS:
        return [
            (date_text(_day(part.date)) if part.date else NOT_RECORDED, part.stage or "", part.what + _note(part.note))
            for part in case.parts
        ]
    out = []
    for stage in dict.fromkeys(part.stage for part in case.parts):
        mine = [part for part in case.parts if part.stage == stage]
        when = dates_text(_day(part.date) for part in mine if part.date is not None) or NOT_RECORDED
        out.append((when, stage or "", "; ".join(part.what + _note(part.note) for part in mine)))
    return out


def _note(note: str | None) -> str:
    return f" ({note})" if note else ""


def untested(job: JobResult) -> Markup:
    """What was not tested."""
    silent: dict[str, list[str]] = {}
    for item in job.last.channels:
        open_questions = [
            questions()[finding.question].asks.rstrip("?").lower()
            for finding in item.findings
            if finding.answer == "not shown" and finding.question in {"settled offset", "drift", "noise", "power-up"}
        ]
        if open_questions:
            silent.setdefault("; ".join(open_questions), []).append(item.channel)
    ups, needed = max((len(item.power_up) for item in job.last.channels), default=0), job.needed_starts or 0.0
    told = (
        (0 < ups < needed, f"{ups} of the {needed:.0f} cold starts that the complaint asks for were logged."),
        (job.case.output == "capacitor", "Direct voltage behind an output capacitor cannot be seen at the terminals."),
        (job.case.not_recorded, f"Not recorded: {', '.join(job.case.not_recorded)}."),
        (True, "Nothing but direct voltage at the outputs was judged: no power, distortion, hum or safety test."),
    )
    open_ = (
        f"Channel{'s' if len(names) > 1 else ''} {', '.join(names)}: the logs cannot tell: {asked}." for asked, names in silent.items()
    )
    return bullets([*not_tested(job), *open_, *(text for holds, text in told if holds)]) or Markup("")


def conditions(case: Case) -> Markup:
    """The meter and the conditions of each log, as the case tells them."""
    meter = case.meter
    off = meter.off_by_V(0.0)
    pairs = [
        ("Meter", meter.name or NOT_RECORDED),
        ("Accuracy near zero", NOT_RECORDED if off is None else f"{digits_text(off * 1e3)} mV"),
        ("Kind of output", case.output),
        *((f"Channel {one.name}", f"{one.role}, column {one.column}, {one.measured_at}") for one in case.channels),
    ]
    rows = [
        (log.file, log.stage, ", ".join(f"{name} {value}" for name, value in log.conditions) or NOT_RECORDED)
        for log in case.logs
    ]
    return tag(
        "section",
        tag("h2", "Meter and conditions"),
        facts(pairs, class_="facts"),
        table(("log", "stage", "conditions"), rows) if rows else None,
    )
