"""Holm's correction (Tarone's for few counts) over a comparison: did the rate of episodes change, and is a fault cured? Pairs of sides in, outcomes out, corrected over all channels looked at together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from flicker.base.formats import digits_text, millivolts_text
from flicker.base.units import HOUR
from flicker.base.values import Aspect
from flicker.evidence.compare.power_up_ratio import PowerUpRatio, power_up_ratio
from flicker.evidence.compare.sides import Matched, Side, as_begun, match, occupied, pace
from flicker.evidence.findings import holm
from flicker.evidence.record.pace import PACE, seen_share
from flicker.evidence.record.power_up_counts import OCCUPIED_LEADS, rate_counts
from flicker.logs.spans import elapsed, total
from flicker.stats.laws.scatter import SCATTER
from flicker.stats.power_ups import clean_chance, clean_power_ups, fall_under_way, power_ups_to_see
from flicker.stats.soak import clean_exposure, power_ups_to_catch

IMPROVED, NO_CHANGE, WORSE = "improved", "no change shown", "worse"
# rate to exclude before an intermittent unit goes home where the complaint gives none; common practice, no source
RELEASE_PER_H = 0.1
CROWDED = 2.326  # 1 % of a normal law, by definition: so many claims of even swings are held back, more where they come in bursts
MOST_TOLD = 8  # power-ups whose rates a sentence can carry: a choice
MOST_POWER_UPS = 10_000  # power-ups so short that more are needed show nothing: a choice


class NoteKind(StrEnum):
    """What a note on a comparison tells."""

    NOT_COMPARABLE = "not comparable"
    EQUAL_TIME = "compared at equal time"
    SATURATED = "counting saturates"
    SHARED = "shared with other channels"
    UNTOUCHED = "untouched channel changed"
    UNDER_WAY = "a fall was under way before"
    DANGER = "more volts than before"
    REMARK = "remark"


@dataclass(frozen=True, slots=True)
class Note:
    """What limits a comparison, in words."""

    kind: NoteKind
    text: str


@dataclass(frozen=True, slots=True)
class Weighed:
    """One channel of one pair of sides, weighed.

    ``ratio`` is that of episodes, ``occupied`` that of occupied windows where the counter saturates; ``leads`` says
    which of the two decided. ``matched`` is what of either side has its like on the other. ``p_improved`` and ``p_worse`` are one-sided and corrected. ``barred`` tells that the two
    sides are not comparable; the notes say why. ``shared`` episodes before and after, shown by other channels at once, are
    in no other figure: they are no evidence about this channel.
    """

    before: Side
    after: Side
    matched: tuple[Matched, Matched]
    ratio: PowerUpRatio
    occupied: PowerUpRatio | None
    shares: tuple[float, float]
    leads: Aspect
    outcome: str
    p_improved: float
    p_worse: float
    family: int
    notes: tuple[Note, ...]
    barred: bool = False
    shared: tuple[int, int] = (0, 0)

    @property
    def leading(self) -> PowerUpRatio:
        """The ratio that decided."""
        return self.occupied if self.occupied is not None else self.ratio

    @property
    def under_way(self) -> bool:
        """Whether a fall that began before the repair explains what came after."""
        return any(note.kind == NoteKind.UNDER_WAY for note in self.notes)

    @property
    def paced(self) -> bool:
        """Whether readings follow the output on both sides at one pace."""
        return pace(self.before, self.after) <= PACE


def weigh(
    pairs: Sequence[tuple[Side, Side]],
    *,
    confidence: float = 0.95,
    scatter: float = SCATTER,
    cell_s: float = 10.0,
    controls: Sequence[bool] | None = None,
    unlike: Sequence[Sequence[str]] | None = None,
) -> list[Weighed]:
    """Weigh pairs of (before, after), corrected together (Holm), one-sided for each direction.

    Parameters
    ----------
    pairs : sequence of (Side, Side)
        All channels and steps that are looked at together.
    confidence : float
        One minus the chance of any false claim over all pairs; half of it belongs to each direction.
    scatter : float
        Scale of what is allowed for how power-ups differ by themselves.
    cell_s : float
        Length of the windows that count as occupied or not, seconds.
    controls : sequence of bool, optional
        Marks the pairs of untouched channels: they are judged, but not corrected for.
    unlike : sequence of sequence of str, optional
        Why a pair may not be compared at all; where there is a reason nothing is claimed and nothing corrected for.

    Notes
    -----
    A pair whose events are so few that no split of them could show a change does not count as looked at (Tarone 1990,
    Biometrics 46, 515-522: conditional on the total it can never reject).
    """
    error = 0.5 * (1.0 - confidence)
    drafts = [_draft(before, after, confidence, cell_s, scatter) for before, after in pairs]
    control = controls or [False] * len(drafts)
    barred = [[Note(NoteKind.NOT_COMPARABLE, text) for text in reasons] for reasons in unlike or [()] * len(drafts)]
    some = [item.leading.count + item.leading.base_count > 0 for item in drafts]
    mine = [k for k in range(len(drafts)) if some[k] and not control[k] and not barred[k]]
    tested = [k for k in mine if drafts[k].leading.least_p_less <= error]
    p_less = [item.leading.p_less for item in drafts]
    p_more = [item.leading.p_greater for item in drafts]
    for p_values, places in ((p_less, tested), (p_more, mine)):
        for k, adjusted in zip(places, holm([p_values[k] for k in places]), strict=True):
            p_values[k] = adjusted
    out = []
    for k, item in enumerate(drafts):
        outcome, notes = NO_CHANGE, [*barred[k], *item.notes]
        if barred[k]:
            p_less[k] = p_more[k] = 1.0
        if some[k] and min(p_less[k], p_more[k]) <= error:
            outcome = IMPROVED if p_less[k] <= error else WORSE
        against = item.ratio.p_greater if outcome == IMPROVED else item.ratio.p_less
        if item.occupied is not None and outcome != NO_CHANGE and against <= error:
            outcome = NO_CHANGE
            text = (
                "the number of episodes and the time they fill moved in opposite directions: counting saturates, so no change "
                "is claimed"
            )
            notes.append(Note(NoteKind.SATURATED, text))
        if outcome != NO_CHANGE and _seen_unequally(item, outcome):
            outcome = NO_CHANGE
            sides = ((item.before, "before"), (item.after, "after"))
            within = " and ".join(f"within {digits_text(side.sample_interval_s, 3)} s {when}" for side, when in sides)
            notes.append(_apart(f"readings that follow the output {within} see different shares of swings this short"))
        if outcome != NO_CHANGE and _starts_unseen(item, outcome):
            outcome = NO_CHANGE
            notes.append(_apart("the swings crowd at the begin of the logs, and whether each begins at a switch-on is not seen"))
        if outcome == IMPROVED and (why := _under_way(item, scatter)):
            outcome = NO_CHANGE
            notes.append(Note(NoteKind.UNDER_WAY, why))
        out.append(
            replace(
                item,
                outcome=outcome,
                p_improved=p_less[k],
                p_worse=p_more[k],
                family=max(1, len(tested)),
                notes=tuple(notes),
                barred=any(note.kind == NoteKind.NOT_COMPARABLE for note in notes),
            )
        )
    return out


def _apart(text: str) -> Note:
    return Note(NoteKind.NOT_COMPARABLE, f"not comparable: {text}")


def _draft(before: Side, after: Side, confidence: float, cell_s: float, scatter: float) -> Weighed:
    notes: list[Note] = []

    def remark(text: str) -> None:
        notes.append(Note(NoteKind.REMARK, text))

    threshold = max(before.enter_V, after.enter_V)
    if threshold > 1.2 * max(min(before.enter_V, after.enter_V), 1e-12):
        remark(f"only episodes beyond {millivolts_text(threshold)} are compared, the coarser threshold of the two sides")
        before, after = above(before, threshold), above(after, threshold)
    matched = was, now = match(before, after)
    ratio = power_up_ratio(now.units, was.units, scatter=scatter, confidence=confidence)
    begun = [ratio]
    maybe = as_begun(before), as_begun(after)
    if maybe[0] is not before or maybe[1] is not after:
        # whether a log begins warm or at a switch-on is not known: what is claimed must hold both ways
        other = match(*maybe)
        begun.append(power_up_ratio(other[1].units, other[0].units, scatter=scatter, confidence=confidence))
        sure, error = _surest(ratio, begun), 0.5 * (1.0 - confidence)
        if min(ratio.p_less, ratio.p_greater) <= error < min(sure.p_less, sure.p_greater):
            remark("whether each log began warm or cold is not seen; were it cold, no change is shown at equal time")
        ratio = sure
    windows = [occupied(before, was.times, cell_s), occupied(after, now.times, cell_s)]
    shares = [float(hits.sum() / max(cells.sum(), 1)) for hits, cells in windows]
    filled = None
    if max(shares) > OCCUPIED_LEADS and all(cells.sum() > 0 for _, cells in windows):
        base, units = (np.column_stack((rate_counts(*pair), pair[1])).astype(np.float64) for pair in windows)
        filled = power_up_ratio(units, base, scatter=scatter, confidence=confidence)
        method = f"share of {cell_s:g} s windows that hold an excursion, as a rate; {filled.method}"
        filled = _surest(replace(filled, method=method), begun[1:])
    if now.observed_s <= 0.0 or was.observed_s <= 0.0:
        notes.append(_apart("the two sides never saw the unit at the same time since power-up"))
    elif now.observed_s < 0.5 * after.observed_s or was.observed_s < 0.5 * before.observed_s:
        parts = ((was, before), (now, after))
        of = [f"{digits_text(part.observed_s / HOUR, 3)} of {digits_text(side.observed_s / HOUR, 3)} h" for part, side in parts]
        notes.append(Note(NoteKind.EQUAL_TIME, f"compared at equal time since power-up: {of[0]} before against {of[1]} after"))
    known = [any(cycle.known for cycle in side.cycles) for side in (before, after)]
    if known[0] != known[1]:
        remark(f"no power-up was seen {'after' if known[0] else 'before'}; that side is taken as warmed up")
    faster = pace(before, after)
    if faster > PACE:
        remark(f"the readings follow the output {digits_text(faster, 3)} times as fast on one side; short glitches are seen unequally")
    return Weighed(
        before=before,
        after=after,
        matched=matched,
        ratio=ratio,
        occupied=filled,
        shares=(shares[0], shares[1]),
        leads=Aspect.EPISODES if filled is None else Aspect.OCCUPIED_WINDOWS,
        outcome=NO_CHANGE,
        p_improved=1.0,
        p_worse=1.0,
        family=1,
        notes=tuple(notes),
    )


def _surest(found: PowerUpRatio, others: Sequence[PowerUpRatio]) -> PowerUpRatio:
    """The same figures at the largest p-values of all."""
    both = (found, *others)
    return replace(found, p_less=max(one.p_less for one in both), p_greater=max(one.p_greater for one in both))


def above(side: Side, threshold_V: float) -> Side:
    """Keep the episodes and the excursions of a size beyond a threshold."""
    cycles = []
    for cycle in side.cycles:
        heights = cycle.excursion_V
        large = np.ones(len(cycle.excursions), dtype=bool) if heights is None else heights > threshold_V
        cycles.append(cycle.kept(cycle.size_V > threshold_V, large))
    return replace(side, cycles=tuple(cycles), enter_V=threshold_V)


def _starts_unseen(item: Weighed, outcome: str) -> bool:
    """Could a fault of the first minutes have made the change, as one side may begin cold and the other warm?

    The mean place of the swings in the logs that show no start, of the side that has more, against even ones.
    """
    many, few = (item.before, item.after) if outcome == IMPROVED else (item.after, item.before)
    unseen = [cycle for cycle in many.cycles if not cycle.known and cycle.episode_s.size]
    if not unseen or all(cycle.known for cycle in few.cycles):
        return False
    places = np.concatenate([elapsed(cycle.observed, cycle.episode_s) / total(cycle.observed) for cycle in unseen])
    return bool((0.5 - places.mean()) * np.sqrt(12.0 * places.size) > CROWDED)


def _under_way(item: Weighed, scatter: float) -> str:
    """How the rate fell before the repair already, where that goes on and explains what came after; empty else."""
    was, now = item.leading.base_units, item.leading.units
    if not fall_under_way(was[:, 0], was[:, 1], now[:, 0], now[:, 1], scatter=scatter).likely:
        return ""
    rates = [", ".join(digits_text(n / hours) for n, hours in side.counted[:MOST_TOLD]) for side in (item.before, item.after)]
    return (
        f"it became rarer from power-up to power-up before already ({rates[0]} per hour, then {rates[1]}): a fall that goes on explains "
        "the counts better than the repair does"
    )


def _seen_unequally(item: Weighed, outcome: str) -> bool:
    """Could the slower side have missed what the faster one saw, or, by time filled, have drawn it out?

    At worst it sees none of the swings shorter than its interval: the interval of the ratio must lie beyond that share.
    """
    slower_after = item.after.sample_interval_s > item.before.sample_interval_s
    fast, slow = (item.before, item.after) if slower_after else (item.after, item.before)
    if item.paced or (item.occupied is None and slower_after != (outcome == IMPROVED)):
        return False
    seen = seen_share([cycle.excursions[:, 1] - cycle.excursions[:, 0] for cycle in fast.cycles], slow.sample_interval_s)
    return seen < 1.0 and not (item.leading.high < seen if outcome == IMPROVED else item.leading.low * seen > 1.0)


@dataclass(frozen=True, slots=True)
class Cure:
    """Whether the fault is shown to be gone, and what is missing.

    ``word`` is 'shown', 'not yet', 'no', or None where there was nothing to cure. Each of the two ways, clean power-ups
    or cold starts, suffices where it is given. ``power_ups_needed`` further power-ups of ``each_h``, as long as those
    after, make the clean hours: one long run tells less. ``fault_shows_in`` is in how many such power-ups the fault as it
    came would have shown itself. ``unseen`` tells why the later logs could not have shown it at all; empty where they could.
    """

    word: str | None
    concern_per_h: float
    excluded_per_h: float | None = None
    clean_hours_needed: float | None = None
    cold_starts_needed: int | None = None
    power_ups_needed: int | None = None
    each_h: float | None = None
    fault_shows_in: int | None = None
    unseen: str = ""


def cure(item: Weighed, *, recurs: bool, concern_per_h: float, warm_up_s: float, confidence: float = 0.95) -> Cure:
    """Decide whether a fault is cured: none seen, a fall of the rate shown, and so many clean power-ups.

    Parameters
    ----------
    item : Weighed
        The channel.
    recurs : bool
        Whether recurrence is shown on the after side.
    concern_per_h : float
        Rate that must be excluded before the unit goes home.
    warm_up_s : float
        Where most episodes came this soon after a cold start, clean cold starts are offered instead of hours.

    Notes
    -----
    A cure is a promise for further power-ups, which differ by themselves. So what counts is clean power-ups: as many as
    would have shown the fault as it came, and as many as exclude the rate of concern while power-ups differ by
    ``item.leading.scatter`` (`power_ups_to_see`, `clean_power_ups`). The second is stricter than to have seen the fault as
    it came: a repair may leave it, only rarer, and a unit that goes home as cured must not come back with that; where the
    complaint gives a rate, that rate takes its place. What the clean hours exclude by themselves is said of
    the time observed (Poisson).
    """
    before, after = item.before, item.after
    if before.episodes == 0 and item.shares[0] == 0.0:
        # what came is not this channel's, and what became of it shows no cure
        return Cure("not yet" if item.shared[0] else None, concern_per_h)
    clean_h = [hours for _, hours in after.counted]
    hours, each = sum(clean_h), sum(clean_h) / max(len(clean_h), 1)
    told = Cure("not yet", concern_per_h, unseen=_unseen(item))
    if hours > 0 and after.episodes == 0:
        told = replace(told, excluded_per_h=clean_exposure(1.0, confidence=confidence).exposure / hours)
    if recurs or item.outcome == WORSE:
        return replace(told, word="no")
    again = after.episodes > 0 or item.shares[1] > 0.0 or item.shared[1] > 0
    # no further clean hours make unlike sides alike, or tell a repair from a fall that goes on
    if each <= 0 or ((item.barred or item.under_way) and not again):
        return told
    scatter = item.leading.scatter
    shows_in = _shows_in(before, each, scatter, confidence)
    told = replace(told, each_h=each, fault_shows_in=shows_in)
    # Seen again: a clean stretch chosen because it was clean proves nothing; the count begins anew.
    counted = [] if again else [concern_per_h * hours for hours in clean_h]
    number = clean_power_ups(concern_per_h * each, scatter=scatter, confidence=confidence, clean=counted)
    number = max(number, (shows_in or 0) - len(counted))
    if again:
        return replace(told, excluded_per_h=None, clean_hours_needed=number * each, power_ups_needed=number)
    starts = _cold_starts(before, after, warm_up_s, confidence)
    told = replace(told, cold_starts_needed=starts)
    fall = 0 if item.outcome == IMPROVED else item.leading.needed_power_ups(0.5 * (1.0 - confidence) / item.family)
    if fall is None:
        return told
    number = max(number, fall)
    if item.outcome == IMPROVED and (number == 0 or starts == 0):
        none = None if starts is None else 0
        return replace(told, word="shown", clean_hours_needed=0.0, cold_starts_needed=none, power_ups_needed=0)
    return replace(told, clean_hours_needed=number * each, power_ups_needed=number)


def _unseen(item: Weighed) -> str:
    """Why the logs after could not have shown the fault as it came before; empty where they could."""
    if item.barred:
        return "the fault seen before may not show under the conditions of this log"
    if item.ratio.base_count == 0 and item.before.episodes > 0:
        return "the fault seen before came at times since power-up that this log does not hold"
    return ""


def _shows_in(before: Side, each_h: float, scatter: float, confidence: float) -> int | None:
    """Power-ups of that length in which the fault as it came shows itself; None where none was counted."""
    if not any(number for number, _ in before.counted):
        return None
    counts, hours = zip(*before.counted, strict=True)
    if clean_chance(counts, hours, MOST_POWER_UPS, each_h, scatter=scatter) > 1.0 - confidence:
        return MOST_POWER_UPS
    return power_ups_to_see(counts, hours, length=each_h, scatter=scatter, confidence=confidence).power_ups


def _cold_starts(before: Side, after: Side, warm_up_s: float, confidence: float) -> int | None:
    """Further clean cold starts that would have shown a fault of the cold start, or None where it is not one."""
    hits, trials = before.starts_with_episode(warm_up_s), before.cold_starts
    early = sum(int(np.count_nonzero(cycle.episode_s < warm_up_s)) for cycle in before.cycles if cycle.known)
    if hits < 2 or early < 0.5 * before.episodes:
        return None
    return max(0, power_ups_to_catch(hits=hits, trials=trials, confidence=confidence).power_ups - after.cold_starts)
