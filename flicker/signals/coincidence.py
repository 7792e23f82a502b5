"""Do two channels jump together? Episodes of both in; common cause or this channel only, lag, sign and size out.

The other channel may be an output, a rail, the mains or a spare meter input: whatever shares the clock.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import combinations
from typing import Annotated

import numpy as np
from numpy.typing import NDArray
from scipy import special

from flicker import stats
from flicker.base.arrays import Bools, Floats
from flicker.base.formats import digits_text
from flicker.base.result import Doc, Result
from flicker.logs.spans import elapsed, holds, total, without
from flicker.signals.excursions import near_s
from flicker.signals.trace import Trace
from flicker.stats.rates import share_interval

BEYOND_CHANCE = ("common cause", "partly common")  # answers; the first from the share on that is to be looked for first
COMMON_SHARE = 0.5  # common practice, no source: from here on the common part is what to look for first
CONFIDENCE = 0.95  # common practice, no source
SIZE_PERMUTATIONS = 4_999  # p-values in steps of 1/5000: a choice
SEED = 20_260_103  # any number will do: a choice


@dataclass(frozen=True, slots=True)
class ChannelEvents:
    """Episodes of one channel in one run: begin and signed deviation, shape (episodes,), and what was observed."""

    channel: str
    start_s: Floats
    deviation_V: Floats
    observed: Floats
    sample_interval_s: float

    @classmethod
    def from_trace(cls, trace: Trace, sample_interval_s: float) -> ChannelEvents:
        """Take the episodes of a trace."""
        start, _, deviation = trace.episode_table()
        return cls(trace.channel, start, deviation, trace.observed, sample_interval_s)


@dataclass(frozen=True, slots=True)
class ChannelCoincidence(Result):
    """What two channels share.

    Attributes
    ----------
    answer
        'common cause': together beyond chance, and at least half of one channel's episodes. 'partly common': together
        beyond chance, but fewer. 'this channel only': an upper limit of the shared part below one half, for
        ``only`` (a channel, or both). 'not shown': the log cannot tell.
    together, expected
        Episodes of ``a`` with one of ``b`` within ``lag_s``, and how many chance would bring.
    share_a, share_a_low, share_a_high, share_b, ...
        Shared part of each channel's episodes, with exact intervals (NaN, 0, 1 without any).
    lead_s, lead_low_s, lead_high_s
        Begin in ``b`` less begin in ``a``: middle over pairs, with an exact interval of the middle where six or more
        pairs allow one (else NaN). No finer than the sample interval.
    same_sign, pairs
        Pairs that go the same way, of all one-to-one pairs.
    size_ratio, size_correlation, size_p_value
        Size in ``b`` over size in ``a`` (geometric mean), rank correlation and its permutation p (NaN below 5 pairs).
    """

    a: Annotated[str, Doc("One channel.")]
    b: Annotated[str, Doc("The other.")]
    answer: Annotated[
        str,
        Doc(
            "'common cause': together beyond chance, at least half of one channel's episodes; 'partly common': beyond chance, but fewer; 'this channel only': at most half is shared.",
            values=(*BEYOND_CHANCE, "this channel only", "not shown"),
        ),
    ]
    only: Annotated[tuple[str, ...], Doc("Channels of which 'this channel only' is said.")]
    together: Annotated[int, Doc("Episodes of a with one of b within lag_s.", ge=0)]
    expected: Annotated[float, Doc("How many chance would bring.", ge=0, null=True)]
    episodes_a: Annotated[int, Doc("Episodes of a in the common time.", ge=0)]
    episodes_b: Annotated[int, Doc("Episodes of b.", ge=0)]
    observed_s: Annotated[float, Doc("Seconds in which both were observed.", ge=0)]
    lag_s: Annotated[float, Doc("Seconds apart that count as together.", ge=0)]
    share_a: Annotated[float, Doc("Estimate of the share of a's episodes that is common.", ge=0, le=1, null=True)]
    share_a_low: Annotated[
        float, Doc("Lower limit of the share of a's episodes that is common.", ge=0, le=1, null=True)
    ]
    share_a_high: Annotated[
        float, Doc("Upper limit of the share of a's episodes that is common.", ge=0, le=1, null=True)
    ]
    share_b: Annotated[float, Doc("Estimate of the share of b's episodes that is common.", ge=0, le=1, null=True)]
    share_b_low: Annotated[
        float, Doc("Lower limit of the share of b's episodes that is common.", ge=0, le=1, null=True)
    ]
    share_b_high: Annotated[
        float, Doc("Upper limit of the share of b's episodes that is common.", ge=0, le=1, null=True)
    ]
    p_value: Annotated[float, Doc("One-sided p-value of more than chance.", ge=0, le=1, null=True)]
    p_adjusted: Annotated[float, Doc("Corrected over the pairs.", ge=0, le=1, null=True)]
    lead_s: Annotated[float, Doc("Begin in b less begin in a, seconds: middle over pairs.", null=True)]
    lead_low_s: Annotated[float, Doc("Lower limit; null below six pairs.", open=True)]
    lead_high_s: Annotated[float, Doc("Upper limit.", open=True)]
    pairs: Annotated[int, Doc("One-to-one pairs.", ge=0)]
    same_sign: Annotated[int, Doc("Of these, pairs that go the same way.", ge=0)]
    size_ratio: Annotated[float, Doc("Size in b over size in a.", ge=0, open=True)]
    size_correlation: Annotated[float, Doc("Rank correlation of the sizes.", ge=-1, le=1, null=True)]
    size_p_value: Annotated[float, Doc("Its permutation p-value.", ge=0, le=1, null=True)]
    confidence: Annotated[float, Doc("Confidence of the intervals, a share between 0 and 1.", gt=0)]
    seed: Annotated[int, Doc("Seed of the permutations.")]
    method: Annotated[str, Doc("The method by which the figures were found.")]

    @property
    def reads(self) -> str:
        """What it means at the bench."""
        counts = f"{self.a}: {self.episodes_a}, {self.b}: {self.episodes_b} episodes, {self.together} together"
        if self.observed_s == 0:
            return f"{self.a} and {self.b} were never observed at the same time."
        if self.answer in BEYOND_CHANCE:
            part = "have a common cause" if self.answer == BEYOND_CHANCE[0] else "share part of their episodes"
            words = f"{self.a} and {self.b} {part} ({counts} where chance gives {digits_text(self.expected)})"
            if self.pairs:
                words += f"; {self._relation()}"
            return words + ". Look at what they share first: supply, protection, ground, the meter and its leads."
        if self.answer == "this channel only":
            alone = " and ".join(self.only)
            if len(self.only) > 1:
                return f"{alone} each swing by themselves ({counts})."
            quiet = min(self.episodes_a, self.episodes_b) == 0
            return f"Only {alone} swings ({counts})." if quiet else f"{alone} swings by itself ({counts})."
        return f"Whether {self.a} and {self.b} share a cause is not shown ({counts})."

    def _relation(self) -> str:
        way = "the same way" if 2 * self.same_sign >= self.pairs else "opposite ways"
        count = max(self.same_sign, self.pairs - self.same_sign)
        words = f"{count} of {self.pairs} go {way}, {self.b} {digits_text(self.size_ratio)} times the size of {self.a}"
        if self.lead_low_s > 0 or self.lead_high_s < 0:
            first, second = (self.a, self.b) if self.lead_s > 0 else (self.b, self.a)
            words += f"; {first} begins {digits_text(abs(self.lead_s))} s before {second}"
        return words


_Own = tuple[Floats, Floats, float]  # times, sizes, and seconds in which they were looked for


def _on_one_clock(runs_a: Sequence[ChannelEvents], runs_b: Sequence[ChannelEvents]) -> tuple[_Own, _Own]:
    """Episodes of both on the clock of their common observed time, run after run."""
    common = [a.observed if np.array_equal(a.observed, b.observed) else without(a.observed, without(a.observed, b.observed))
              for a, b in zip(runs_a, runs_b, strict=True)]  # fmt: skip
    return _within(runs_a, common), _within(runs_b, common)


def _within(runs: Sequence[ChannelEvents], common: Sequence[Floats]) -> _Own:
    """Times and sizes of a channel's episodes that begin in some times of each run, on the clock of these times; its end."""
    offset, times, sizes = 0.0, [], []
    for run, when in zip(runs, common, strict=True):
        order = np.argsort(run.start_s, kind="stable")
        inside = order[holds(when, run.start_s[order])]
        times.append(offset + elapsed(when, run.start_s[inside]))
        sizes.append(run.deviation_V[inside])
        offset += total(when)
    return np.concatenate(times), np.concatenate(sizes), offset


def _compare(names: tuple[str, str], events: tuple[_Own, _Own], lag: float) -> ChannelCoincidence:
    (time_a, size_a, span_s), (time_b, size_b, _) = events
    p_value, expected, together = 1.0, 0.0, 0
    if span_s > 0 and time_a.size and time_b.size:
        test = stats.association.coincidence(time_a, time_b, lag, span_s, confidence=CONFIDENCE, seed=SEED)
        p_value, expected, together = test.p_value, test.expected, test.coincidences
    first, second = _pairs(time_a, time_b, lag)
    near_b = _near(time_b, time_a, lag)
    share = [_share(together, time_a.size, CONFIDENCE), _share(int(near_b.sum()), time_b.size, CONFIDENCE)]
    lead = time_b[second] - time_a[first]
    low, high = _middle_interval(lead, CONFIDENCE)
    ratio, correlation, size_p = _sizes(np.abs(size_a[first]), np.abs(size_b[second]), SEED)
    counts = time_a.size, time_b.size
    answer, only = _answer(names, counts, (share[0][0], share[1][0]), p_value, CONFIDENCE)
    return ChannelCoincidence(
        a=names[0],
        b=names[1],
        answer=answer,
        only=only,
        together=together,
        expected=expected,
        episodes_a=counts[0],
        episodes_b=counts[1],
        observed_s=span_s,
        lag_s=lag,
        share_a=share[0][0],
        share_a_low=share[0][1],
        share_a_high=share[0][2],
        share_b=share[1][0],
        share_b_low=share[1][1],
        share_b_high=share[1][2],
        p_value=p_value,
        p_adjusted=p_value,
        lead_s=float(np.median(lead)) if lead.size else math.nan,
        lead_low_s=low,
        lead_high_s=high,
        pairs=int(first.size),
        same_sign=int(np.sum(np.sign(size_a[first]) == np.sign(size_b[second]))),
        size_ratio=ratio,
        size_correlation=correlation,
        size_p_value=size_p,
        confidence=CONFIDENCE,
        seed=SEED,
        method="turns of one channel around the common observed time; shares by Clopper-Pearson",
    )


def _answer(
    names: tuple[str, str], counts: tuple[int, int], shares: tuple[float, float], p_adjusted: float, confidence: float
) -> tuple[str, tuple[str, ...]]:
    """The answer at a corrected p-value, and the channels of which 'this channel only' is said."""
    if p_adjusted <= 1.0 - confidence:
        most = max(value for value in shares if not math.isnan(value))
        return BEYOND_CHANCE[0 if most >= COMMON_SHARE else 1], ()
    sides = zip(names, counts, shares, strict=True)
    only = tuple(name for name, count, share in sides if _alone(count, share, confidence))
    return "this channel only" if only else "not shown", only


@lru_cache
def _alone(count: int, share: float, confidence: float) -> bool:
    """Whether at most half of a channel's episodes can be shared (one-sided limit)."""
    if count == 0:
        return False
    return share_interval(round(share * count), count, confidence=confidence, sided="upper").high < COMMON_SHARE


@lru_cache  # of many channels most pairs have the same counts
def _share(hits: int, count: int, confidence: float) -> tuple[float, float, float]:
    if count == 0:
        return math.nan, 0.0, 1.0
    found = share_interval(hits, count, confidence=confidence)
    return found.share, found.low, found.high


def _near(times: Floats, others: Floats, lag: float) -> Bools:
    """Which of ``times`` have one of the (sorted) ``others`` within the lag."""
    place = np.searchsorted(others, times - lag, "left")
    return np.asarray(place < np.searchsorted(others, times + lag, "right"))


def _pairs(a: Floats, b: Floats, lag: float) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """One-to-one pairs: each is the other's nearest, within the lag."""
    if not _near(a, b, 2.0 * lag).any():
        none = np.empty(0, dtype=np.intp)
        return none, none
    to_b, to_a = _nearest(a, b), _nearest(b, a)
    first = np.flatnonzero((to_a[to_b] == np.arange(a.size)) & (np.abs(b[to_b] - a) <= lag))
    return first, to_b[first]


def _nearest(times: Floats, others: Floats) -> NDArray[np.intp]:
    after = np.clip(np.searchsorted(others, times), 1, max(others.size - 1, 1))
    before = after - 1
    if others.size == 1:
        return np.zeros(times.size, dtype=np.intp)
    closer = np.abs(others[after] - times) < np.abs(times - others[before])
    return np.asarray(np.where(closer, after, before))


def _middle_interval(values: Floats, confidence: float) -> tuple[float, float]:
    """Interval of the median from order statistics (sign test); NaN where the pairs are too few for one."""
    n = values.size
    k = _depth(n, confidence)
    if k < 0:
        return math.nan, math.nan
    ordered = np.sort(values)
    return float(ordered[k]), float(ordered[n - 1 - k])


@lru_cache
def _depth(n: int, confidence: float) -> int:
    """Place from either end of the order statistic that bounds the median; -1 where there is none."""
    return int(np.count_nonzero(special.bdtr(np.arange(n // 2 + 1), n, 0.5) <= 0.5 * (1.0 - confidence))) - 1


def _sizes(a: Floats, b: Floats, seed: int) -> tuple[float, float, float]:
    if a.size == 0 or np.any(a == 0) or np.any(b == 0):
        return math.nan, math.nan, math.nan
    ratio = float(np.exp(np.mean(np.log(b) - np.log(a))))
    if a.size < 5:
        return ratio, math.nan, math.nan
    ranks = [_ranks(side) for side in (a, b)]
    norm = float(np.linalg.norm(ranks[0]) * np.linalg.norm(ranks[1]))
    if norm == 0:
        return ratio, math.nan, math.nan
    seen = float(ranks[0] @ ranks[1]) / norm
    shuffled = np.random.default_rng(seed).permuted(np.tile(ranks[1], (SIZE_PERMUTATIONS, 1)), axis=1)
    null = shuffled @ ranks[0] / norm
    p_value = (1 + int(np.sum(np.abs(null) >= abs(seen) - 1e-12))) / (SIZE_PERMUTATIONS + 1)
    return ratio, seen, p_value


def _ranks(values: Floats) -> Floats:
    """Ranks less their mean, ties sharing theirs."""
    _, place, count = np.unique(values, return_inverse=True, return_counts=True)
    middle = np.cumsum(count) - 0.5 * (count - 1)
    ranks = middle[place]
    return np.asarray(ranks - ranks.mean())


def coincide_all(
    channels: Mapping[str, Sequence[ChannelEvents]],
    *,
    beside: Collection[str] = (),
) -> tuple[ChannelCoincidence, ...]:
    """Compare every pair of channels; p-values are corrected together (Holm) and the answers follow them.

    Parameters
    ----------
    channels : mapping of name to one ChannelEvents per run
        All with the same runs. Only time in which both of a pair were observed counts; episodes that begin within two
        sample intervals, and one second at least, are together.
    beside : collection of str
        Channels that are no outputs (rail, mains, a shorted lead): compared with the others, not with each other.

    Notes
    -----
    Against chance: one channel is turned as a whole around the common observed time (`association.coincidence`), which
    holds for episodes in bursts. Two rates that both follow the heat of the unit coincide a little more often than
    that (by a third for rates that grow evenly with time on): with lags of seconds this is far below one episode.
    """
    own = {name: _within(runs, [run.observed for run in runs]) for name, runs in channels.items()}
    found = []
    for a, b in combinations(channels, 2):
        if a in beside and b in beside:
            continue
        runs_a, runs_b = channels[a], channels[b]
        same = all(np.array_equal(x.observed, y.observed) for x, y in zip(runs_a, runs_b, strict=True))
        events = (own[a], own[b]) if same else _on_one_clock(runs_a, runs_b)
        found.append(_compare((a, b), events, _usual_lag(runs_a, runs_b)))
    adjusted = stats.association.holm([pair.p_value for pair in found]).tolist()
    return tuple(pair if p == pair.p_adjusted else _corrected(pair, p) for pair, p in zip(found, adjusted, strict=True))


def _usual_lag(runs_a: Sequence[ChannelEvents], runs_b: Sequence[ChannelEvents]) -> float:
    return near_s(max(run.sample_interval_s for run in (*runs_a, *runs_b)))


def _corrected(pair: ChannelCoincidence, p_adjusted: float) -> ChannelCoincidence:
    counts, shares = (pair.episodes_a, pair.episodes_b), (pair.share_a, pair.share_b)
    answer, only = _answer((pair.a, pair.b), counts, shares, p_adjusted, pair.confidence)
    return replace(pair, answer=answer, only=only, p_adjusted=p_adjusted)
