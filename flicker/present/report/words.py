"""Words of the evidence page that no result carries: questions, limits, glossary, how sure, what to do next."""

from __future__ import annotations

from flicker.base.formats import once_text, share_text
from flicker.base.limits import Limits
from flicker.evidence.channel import ChannelAssessment
from flicker.evidence.findings import YES
from flicker.evidence.verdict import DO_NOT_CONNECT

MEND = "Find and mend the cause, then log again."
FIRST = {
    "steady": "No fault to mend was seen.",
    "one-off": "Log longer before anything is replaced.",
    "inconclusive": "Log longer.",
    "noisy": MEND,
    "drifting": MEND,
    "degrading": MEND,
}
UNSURE = {
    "inconclusive": "Not sure: too little was observed to tell a sound channel from a bad one.",
    "one-off": "That it happened is certain. That it comes back, or stays away, is not shown.",
}
CURED = {"shown": "shown", "not yet": "not yet shown", "no": "no, the fault is still there"}
ASSUMED = "assumed, not measured on this unit"
LIMITS = {
    "settled_offset_V": "a level at rest beyond this is a finding of its own",
    "excursion_V": "a swing counts from this distance to the baseline on; noise may raise it",
    "drift_V": "movement of the level at rest that matters",
    "wander_V": "movement that returns, or that all channels share, and still matters",
    "noise_V": "robust sigma at rest that matters",
    "episode_rate_per_h": "rate of concern: 'steady' must have excluded it",
    "nuisance_rate_per_h": "what a sound unit in a sound room may show",
    "dead_time_s": "swings closer than this are one episode",
    "long_episode_s": "an episode longer than this is evidence of its own",
    "episode_share": "so is a larger share of the observed time",
    "baseline_follow_s": "the baseline follows nothing faster than this",
    "surge_V": "a start beyond this is abnormal",
    "settle_s": "so is one that takes longer to settle",
    "settle_band_V": "settled means this near to the final level",
    "cold_after_s": "off this long makes the next start a cold one",
    "warm_up_s": "counted apart as warm-up",
    "protection_V": f"threshold of the protection relay: {ASSUMED}",
    "trip_delay_s": f"delay until it opens: {ASSUMED}",
    "release_V": f"threshold below which it may close: {ASSUMED}",
    "reconnect_s": f"delay until it closes: {ASSUMED}",
    "power_up_scatter": "how much power-ups of one unit may differ by themselves, as a share of their rate",
    "danger_V": "a level at rest beyond this is a danger to a loudspeaker",
    "recover_s": "readings so soon after over-range give no peak",
    "confidence": "of every interval and decision",
}

GLOSSARY = (
    ("log", "a file with readings of a meter on the outputs"),
    ("run", "one power-up of the unit, from switching on to switching off or the end of the log"),
    ("visit", "a date on which logs were taken"),
    ("stage", "the time between two changes to the unit: as received, reseated only, part replaced"),
    ("baseline", "where a channel rests, followed slowly"),
    ("excursion", "a swing away from the baseline, beyond the threshold"),
    ("episode", "one excursion, or several that follow each other closely"),
    ("observed time", "only the time in which an excursion could have been seen"),
    ("fitness", "whether a loudspeaker may hang on the channel; decided by volts, before anything else"),
    ("steady", "no episode, and long enough observed to have seen the rate of concern"),
    ("one-off", "seen, but not shown to come back; not proved gone"),
    ("noisy", "comes and goes again and again, or restless all the time"),
    ("drifting", "the level at rest moves more than it may"),
    ("degrading", "more often or larger as time goes on, shown"),
    ("inconclusive", "too little observed to say any of these"),
    ("cured", "none seen, less than before shown, and the rate of the complaint excluded; 'improved' alone is less"),
    ("not comparable", "logged under other conditions, so that a difference says nothing about the unit"),
    ("yes / no / not shown", "shown beyond the limit / shown to be within it / the log cannot tell"),
    ("p", "how often chance alone would look like this; 'corrected' where several questions were put at once"),
    ("95 % interval", "made by a rule that catches the true value in 95 of 100 such logs"),
)


def sure_text(p_value: float) -> str:
    """How sure a claim with that chance of a false alarm is, in words and as a frequency."""
    word = "Very sure" if p_value < 0.001 else "Sure" if p_value < 0.01 else "Fairly sure"
    if p_value < 1e-6:
        return f"{word}: of a million channels without this fault, fewer than one would look so by chance."
    many = float(f"{1.0 / p_value:.2g}")
    return f"{word}: of {many:,.0f} channels without this fault, about one would look so by chance."


def how_sure(item: ChannelAssessment, limits: Limits) -> str:
    """How sure the verdict on a channel is, in one sentence."""
    word = item.verdict
    seen = {finding.question: finding for finding in item.findings}
    if word == "steady":
        upper = item.rate.steady_upper_per_h
        if upper is None:
            return "Nothing beyond the limits was seen."
        return (
            f"A fault that comes {once_text(upper)} or more often would have been seen, with {share_text(limits.confidence)} "
            "confidence; a rarer one may have been missed."
        )
    if word in UNSURE:
        return UNSURE[word]
    asked = {
        "degrading": ("larger with age", "worse with age", "larger", "more often"),
        "drifting": ("drift", "level change"),
        "noisy": ("intermittent", "noise"),
    }[word]
    shown = [seen[name] for name in asked if name in seen and seen[name].answer == YES]
    chances = [finding.p_adjusted for finding in shown if finding.p_adjusted is not None]
    if chances:
        return sure_text(min(chances))
    return "Seen directly in the readings; chance has no part in it."


def first_step(item: ChannelAssessment) -> str:
    """What to do first about a channel, in one or two sentences."""
    if item.fitness == DO_NOT_CONNECT:
        return f"Leave loudspeakers off this channel. {MEND}"
    return FIRST[item.verdict]


def what_next(item: ChannelAssessment) -> str:
    """What to do about a channel, in one or two sentences."""
    return f"{first_step(item)} {item.next.reads}"
