"""What the verdict's rules need of a channel beside its findings and the guard, and what stands against a clearance.

Reasons are in volts, each with what to do about it: one list for every page, the weightiest first.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

from flicker.base.formats import digits_text, hours_text, millivolts_text
from flicker.base.limits import Limits
from flicker.evidence.findings import NO, YES, Finding
from flicker.evidence.guard import Guard
from flicker.evidence.guard.words import ADVICE, advice_text, reason_text
from flicker.evidence.questions.level_jumps import JUMP_V
from flicker.stats.jumps import LEAST_JUMPS


class Facts(NamedTuple):
    """What the rules need beside the findings."""

    observed_s: float
    episodes: int
    common_episodes: int
    episode_s: float
    steady_upper_per_h: float | None
    power_ups: int
    trips: int
    dangerous_V: float | None
    filled: bool
    life_shown: bool
    excursions: int = 0
    in_excursion_s: float = 0.0
    phase: str = ""
    together: bool = False
    complaint_h: float = 0.0  # clean hours still missing for the complaint's rate
    complaint_starts: float | None = None
    reading_every_s: float = 0.0
    enter_V: float = 0.0
    moves_together: bool = False  # another channel moves in the same measure
    jump_pairs: int = 0  # jumps between levels, up and down,
    jump_V: float = 0.0  # and their middle size
    left_out: bool = False  # minutes in which the lead may have been off: their volts make no word of behaviour
    failed: str = ""  # the event in which the unit died
    stands: str = ""  # the volts at which it stands to the end of the log
    shared_swings: bool = False  # the guard's swings came in all channels at once
    counts: tuple[int, ...] = ()  # episodes of each power-up with observed time,
    hours_each: tuple[float, ...] = ()  # and that time

    @property
    def complaint_open(self) -> bool:
        """Whether the complaint's own rate has not been excluded yet."""
        return self.complaint_h > 0.0 and (self.complaint_starts is None or self.complaint_starts > 0.0)

    @property
    def share_filled(self) -> float:
        """Share of the observed time beyond the threshold."""
        return self.in_excursion_s / self.observed_s if self.observed_s > 0 else 0.0

    @property
    def jumps(self) -> bool:
        """Whether the level jumps between levels by enough to matter."""
        return self.jump_V >= JUMP_V and 2 * self.jump_pairs >= LEAST_JUMPS


MOST_ENTER_V = 0.060  # a threshold that noise has raised further hides what 'steady' would have to exclude (choice)
FINER = "log again on a range with a finer digit, or longer"


@dataclass(frozen=True, slots=True)
class Against:
    """One reason: what was read, and what to do; ``advice`` None where more of the same log takes it away."""

    text: str
    advice: str | None

    @property
    def reads(self) -> str:
        """Both in one sentence."""
        return f"{self.text[:1].upper()}{self.text[1:]}: {self.advice}"


def against(
    findings: Mapping[str, Finding], facts: Facts, limits: Limits, guard: Guard, *, calm: bool
) -> tuple[Against, ...]:
    """All reasons; of a ``calm`` channel those too that its verdict, 'steady', does not say."""
    lasting = [Against(reason_text(reason, guard), advice_text(reason, guard)) for reason in ADVICE if reason in guard.reasons]
    if calm:
        lasting += _of_a_calm_channel(findings, facts, limits)
    return tuple(sorted(lasting, key=lambda item: item.advice is None))


def _of_a_calm_channel(findings: Mapping[str, Finding], facts: Facts, limits: Limits) -> list[Against]:
    out = []
    for name, item in findings.items():
        if item.answer == YES:
            out.append(Against(item.reads.rstrip("."), SHOWN.get(name, "find the cause; then log again")))
    if facts.enter_V > MOST_ENTER_V:
        hidden = f"noise hides swings under {millivolts_text(facts.enter_V)}"
        out.append(Against(hidden, "find what makes the noise (output stage, supply, leads); then log again"))
    for name, what in (("noise", "its noise"), ("settled offset", "where it rests"), ("drift", "its movement")):
        if findings[name].answer not in (NO, YES):
            out.append(Against(f"{what} is not shown to be within its limit", FINER))
    noise = findings["noise"]
    if noise.answer == NO and (noise.high is None or noise.high > limits.noise_V):
        out.append(Against(f"its noise may be above {millivolts_text(limits.noise_V)}", FINER))
    if facts.complaint_open:
        starts = f" or {facts.complaint_starts:.0f} cold starts" if facts.complaint_starts else ""
        need = f"{digits_text(facts.complaint_h)} h{starts}"
        out.append(Against(f"the complaint needs {need} more", f"log {hours_text(facts.complaint_h)}{starts} more"))
    return out


# What to do about a finding that is 'yes' while the channel is calm.
SHOWN = {
    "power-up": "look at what charges and settles after switch-on (supply, bias, coupling capacitors); repeat from cold. If "
    "it is this amplifier's way, say so with surge_V and settle_s in a file of limits",
}
