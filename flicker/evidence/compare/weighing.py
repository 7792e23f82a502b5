"""Did the rate of episodes change? Pairs of sides in, outcomes out, corrected over all channels looked at together."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from flicker.evidence.compare.sides import Side, Strata, match, occupied
from flicker.evidence.findings import holm
from flicker.stats.rates.ratio_matched import MatchedRatio, rate_ratio_matched
from flicker.stats.soak import clean_exposure, clean_exposure_after_repair, power_ups_to_catch

IMPROVED, NO_CHANGE, WORSE = "improved", "no change shown", "worse"
HOUR = 3600.0
SATURATED = 0.10  # share of occupied windows above which counting episodes no longer follows the rate
RELEASE_PER_H = 0.1  # rate to exclude before an intermittent unit goes home where the complaint gives none
NOT_COMPARABLE = "not comparable"
PACE = 1.5  # sample intervals further apart than this factor see different shares of short glitches


@dataclass(frozen=True, slots=True)
class Weighed:
    """One channel of one pair of sides, weighed.

    ``ratio`` is that of episodes, ``occupied`` that of occupied windows where the counter saturates; ``leads`` says
    which of the two decided. ``p_improved`` and ``p_worse`` are one-sided and corrected. ``barred`` tells that the two
    sides are not comparable; the notes say why.
    """

    before: Side
    after: Side
    strata: Strata
    ratio: MatchedRatio
    occupied: MatchedRatio | None
    shares: tuple[float, float]
    leads: str
    outcome: str
    p_improved: float
    p_worse: float
    family: int
    notes: tuple[str, ...]
    barred: bool = False

    @property
    def leading(self) -> MatchedRatio:
        """The ratio that decided."""
        return self.occupied if self.occupied is not None else self.ratio


def weigh(
    pairs: Sequence[tuple[Side, Side]],
    *,
    confidence: float = 0.95,
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
        One minus the chance of any false 'improved' (and of any false 'worse') over all pairs.
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
    error = 1.0 - confidence
    drafts = [_draft(before, after, confidence, cell_s) for before, after in pairs]
    control = list(controls) if controls is not None else [False] * len(drafts)
    barred = [tuple(reasons) for reasons in unlike] if unlike is not None else [()] * len(drafts)
    mine = [k for k, item in enumerate(drafts) if not control[k] and not barred[k] and _some(item)]
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
        if p_less[k] <= error and _some(item):
            outcome = IMPROVED
        elif p_more[k] <= error and _some(item):
            outcome = WORSE
        if item.occupied is not None and outcome != NO_CHANGE:
            against = item.ratio.p_greater if outcome == IMPROVED else item.ratio.p_less
            if against <= error:
                outcome = NO_CHANGE
                notes.append(
                    "the number of episodes and the time they fill moved in opposite directions: counting saturates, "
                    "so no change is claimed"
                )
        if outcome == IMPROVED and _slower_and_short(item.before, item.after):
            outcome = NO_CHANGE
            notes.append(
                f"{NOT_COMPARABLE}: readings every {item.after.sample_interval_s:.3g} s after and every "
                f"{item.before.sample_interval_s:.3g} s before see different shares of glitches this short"
            )
        if outcome == WORSE and _slower_and_short(item.after, item.before):
            outcome = NO_CHANGE
            notes.append(
                f"{NOT_COMPARABLE}: readings every {item.before.sample_interval_s:.3g} s before and every "
                f"{item.after.sample_interval_s:.3g} s after see different shares of glitches this short"
            )
        out.append(
            replace(
                item,
                outcome=outcome,
                p_improved=p_less[k],
                p_worse=p_more[k],
                family=max(1, len(tested)),
                notes=tuple(notes),
                barred=any(note.startswith(NOT_COMPARABLE) for note in notes),
            )
        )
    return out


def _some(item: Weighed) -> bool:
    return item.leading.count + item.leading.base_count > 0


def _draft(before: Side, after: Side, confidence: float, cell_s: float) -> Weighed:
    notes = []
    threshold = max(before.enter_V, after.enter_V)
    if threshold > 1.2 * max(min(before.enter_V, after.enter_V), 1e-12):
        notes.append(
            f"only episodes beyond {threshold * 1e3:.3g} mV are compared, the coarser threshold of the two sides"
        )
        before, after = above(before, threshold), above(after, threshold)
    strata = match(before, after)
    ratio = (
        rate_ratio_matched(
            strata.after_counts,
            strata.after_s / HOUR,
            strata.before_counts,
            strata.before_s / HOUR,
            [(counts, spent / HOUR) for counts, spent in strata.windows],
            confidence=confidence,
        )
        if strata.after_s.size
        else _empty(confidence)
    )
    hits1, cells1 = occupied(after, strata.matched_after, cell_s)
    hits0, cells0 = occupied(before, strata.matched_before, cell_s)
    shares = (float(hits0.sum() / max(cells0.sum(), 1)), float(hits1.sum() / max(cells1.sum(), 1)))
    filled = None
    if max(shares) > SATURATED and cells0.sum() > 0 and cells1.sum() > 0:
        filled = rate_ratio_matched(
            [hits1.sum()],
            [cells1.sum()],
            [hits0.sum()],
            [cells0.sum()],
            [(hits1, cells1.astype(np.float64)), (hits0, cells0.astype(np.float64))],
            confidence=confidence,
        )
        filled = replace(
            filled,
            ratio=_rate(shares[1]) / _rate(shares[0]) if shares[0] > 0 else math.inf,
            low=_rate(min(filled.low * shares[0], 1.0)) / _rate(shares[0]) if shares[0] > 0 else 0.0,
            high=_rate(min(filled.high * shares[0], 1.0)) / _rate(shares[0]) if shares[0] > 0 else math.inf,
            method=f"share of {cell_s:g} s windows that hold an excursion, as a rate; " + filled.method,
        )
    lost = 1.0 - strata.matched_after_s / after.observed_s if after.observed_s > 0 else 1.0
    if strata.matched_after_s <= 0.0 or strata.matched_before_s <= 0.0:
        notes.append(f"{NOT_COMPARABLE}: the two sides never saw the unit at the same time since power-up")
    elif lost > 0.5 or strata.matched_before_s < 0.5 * before.observed_s:
        notes.append(
            f"compared at equal time since power-up: {strata.matched_before_s / HOUR:.3g} of "
            f"{before.observed_s / HOUR:.3g} h before against {strata.matched_after_s / HOUR:.3g} of "
            f"{after.observed_s / HOUR:.3g} h after"
        )
    known = [any(cycle.known for cycle in side.cycles) for side in (before, after)]
    if known[0] != known[1]:
        notes.append(f"no power-up was seen {'after' if known[0] else 'before'}; that side is taken as warmed up")
    pace = max(before.sample_interval_s, after.sample_interval_s) / max(
        min(before.sample_interval_s, after.sample_interval_s), 1e-12
    )
    if pace > PACE:
        notes.append(f"the readings come {pace:.3g} times as often on one side; short glitches are seen unequally")
    return Weighed(
        before,
        after,
        strata,
        ratio,
        filled,
        shares,
        "episodes" if filled is None else "occupied windows",
        NO_CHANGE,
        1.0,
        1.0,
        1,
        tuple(notes),
    )


def _rate(share: float) -> float:
    return -math.log1p(-share) if share < 1.0 else math.inf


def _empty(confidence: float) -> MatchedRatio:
    return rate_ratio_matched([0], [0.0], [0], [0.0], confidence=confidence)


def above(side: Side, threshold_V: float) -> Side:
    """Keep the episodes and the excursions of a size beyond a threshold."""
    cycles = []
    for cycle in side.cycles:
        keep = cycle.size_V > threshold_V
        spans_s, heights = cycle.excursions, cycle.excursion_V
        if heights is not None:
            spans_s, heights = spans_s[heights > threshold_V], heights[heights > threshold_V]
        cycles.append(
            replace(
                cycle,
                episode_s=cycle.episode_s[keep],
                size_V=cycle.size_V[keep],
                excursions=spans_s,
                excursion_V=heights,
            )
        )
    return replace(side, cycles=tuple(cycles), enter_V=threshold_V)


def _slower_and_short(fast: Side, slow: Side) -> bool:
    """Could the slower side have missed what the faster one saw?"""
    if slow.sample_interval_s <= PACE * fast.sample_interval_s:
        return False
    spans_s = [cycle.excursions[:, 1] - cycle.excursions[:, 0] for cycle in fast.cycles if cycle.excursions.size]
    return bool(spans_s) and float(np.quantile(np.concatenate(spans_s), 0.25)) < slow.sample_interval_s


@dataclass(frozen=True, slots=True)
class Cure:
    """Whether the fault is shown to be gone, and what is missing.

    ``word`` is 'shown', 'not yet', 'no', or None where there was nothing to cure. Each of the two ways, hours or cold
    starts, suffices where it is given.
    """

    word: str | None
    clean_hours_needed: float | None
    cold_starts_needed: int | None
    concern_per_h: float
    excluded_per_h: float | None


def cure(item: Weighed, *, recurs: bool, concern_per_h: float, warm_up_s: float, confidence: float = 0.95) -> Cure:
    """Decide whether a fault is cured: none seen, a fall of the rate shown, and the rate of concern excluded.

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
    """
    before, after = item.before, item.after
    seen_before = before.episodes
    if seen_before == 0 and item.shares[0] == 0.0:
        return Cure(None, None, None, concern_per_h, None)
    hours = after.observed_s / HOUR
    needed = clean_exposure(concern_per_h, confidence=confidence).exposure
    excluded = needed * concern_per_h / hours if hours > 0 and after.episodes == 0 else None
    if recurs or item.outcome == WORSE:
        return Cure("no", None, None, concern_per_h, excluded)
    if after.episodes > 0 or item.shares[1] > 0.0:
        # Seen again: a clean stretch chosen because it was clean proves nothing; the count begins anew.
        return Cure("not yet", needed, None, concern_per_h, None)
    matched = item.strata.matched_after_s / HOUR
    multiple = item.leading.needed_multiple((1.0 - confidence) / item.family)
    if matched > 0 and multiple is not None:
        missing = (multiple - 1.0) * matched
    else:
        missing = clean_exposure_after_repair(
            max(seen_before, 1), max(before.observed_s / HOUR, 1e-9), confidence=confidence
        )
    if item.outcome == IMPROVED:
        missing = 0.0
    if item.barred:  # no further clean hours make unlike sides alike
        return Cure("not yet", None, None, concern_per_h, excluded)
    hours_needed = max(missing, needed - hours, 0.0)
    starts = _cold_starts(before, after, warm_up_s, confidence)
    enough = hours_needed <= 1e-9 or (starts == 0 and item.outcome == IMPROVED)
    if item.outcome == IMPROVED and enough:
        return Cure("shown", 0.0, 0 if starts is not None else None, concern_per_h, excluded)
    return Cure("not yet", hours_needed, starts, concern_per_h, excluded)


def _cold_starts(before: Side, after: Side, warm_up_s: float, confidence: float) -> int | None:
    """Further clean cold starts that would have shown a fault of the cold start, or None where it is not one."""
    hits, trials = before.starts_with_episode(warm_up_s), before.cold_starts
    early = sum(int(np.count_nonzero(cycle.episode_s < warm_up_s)) for cycle in before.cycles if cycle.known)
    if hits < 2 or early < 0.5 * before.episodes:
        return None
    return max(0, power_ups_to_catch(hits=hits, trials=trials, confidence=confidence).power_ups - after.cold_starts)
