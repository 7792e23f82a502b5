"""Moderated t (Smyth) of log sizes: do sizes grow: from power-up to power-up (each enters once), or within one of them from burst to burst? When will they reach a threshold (first passage)?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from flicker.base import check
from flicker.base.arrays import Bools, Floats
from flicker.base.formats import digits_text, p_said
from flicker.base.result import Interval, Result
from flicker.stats.laws.scatter import PRIOR_DOF, scaled

# Prior of the scatter of mean log sizes between power-ups; common practice, no source. Error and power with it:
# tests/studies/results/power_ups.md.
PRIOR_SD = 0.4
FEWEST = 3  # power-ups with sizes; two always lie on a line
APART_S = 90.0  # swings closer than this are one burst when sizes are asked; common practice, no source
FEWEST_BURSTS = 10  # below, one power-up tells nothing (the same study)
FEWEST_OF_ONE = 4  # bursts below which a power-up tells nothing beside others; common practice, no source
MOST_ALIKE = 0.95  # largest correlation of neighbours that is reckoned with
LEAST_FREE = 1 / 3  # of the free degrees, however alike neighbours are; fitted by study_growth_within.py on its kinds


@dataclass(frozen=True, slots=True)
class SizeGrowth(Interval):
    """Growth of sizes from the first to the last of their order.

    ``p_up`` and ``p_down`` are one-sided; ``p_up_plain`` and ``p_down_plain`` those of the plain t, which holds however
    much power-ups differ. NaN and 1 where too little was seen.
    """

    p_up: float
    p_down: float
    p_up_plain: float
    p_down_plain: float
    factor: float
    statistic: float
    dof: int
    count: int
    power_ups: int

    @property
    def reads(self) -> str:
        """The finding in words."""
        if self.dof < 1:
            return "Too few sizes to tell whether they grow."
        way = "grow" if self.factor >= 1.0 else "shrink"
        p = min(self.p_up, self.p_down)
        if p > 0.5 * (1.0 - self.confidence):
            return f"It is not shown that sizes grow or shrink ({p_said(p)})."
        plain = self.p_up_plain if self.factor >= 1.0 else self.p_down_plain
        more = ", however much power-ups differ" if plain <= 0.5 * (1.0 - self.confidence) else ""
        return f"Sizes {way}, {digits_text(self.factor)} times in all ({digits_text(self.low)} to {digits_text(self.high)}{more})."


def size_growth(
    sizes: Sequence[ArrayLike],
    order: ArrayLike | None = None,
    *,
    confidence: float = 0.95,
) -> SizeGrowth:
    """Are the sizes of later power-ups larger? Also for before and after, with 0 and 1 as the order.

    Parameters
    ----------
    sizes : sequence of array_like
        Sizes of each power-up, each above 0; one without any takes no part. For visits: the power-ups' mean sizes.
    order : array_like, optional
        Age of each in any unit; the place in the list where not given.
    confidence : float
        Of the interval of the factor.

    Returns
    -------
    SizeGrowth
        Without a claim (p = 1) where fewer than three power-ups hold sizes, or all of them have one age.

    Raises
    ------
    ValueError
        If a size is not above 0, or ``order`` does not fit.

    Notes
    -----
    Least squares of the power-ups' mean log sizes on their order, with a moderated t (Smyth 2004, Statistical
    Applications in Genetics and Molecular Biology 3, 3): variance (3 * 0.4^2 + RSS) / (K + 1) with K + 1 degrees of
    freedom for K power-ups, where the plain t has RSS / (K - 2).
    """
    confidence = check.share("confidence", confidence)
    if isinstance(sizes, str) or not len(sizes):
        raise ValueError(f"sizes must hold one sequence of sizes per power-up, got {sizes!r}")
    parts = [check.positive_array("sizes", part) for part in sizes]
    age = check.paired("order", order, len(parts), each="power-up")
    held = np.array([part.size > 0 for part in parts], dtype=bool)
    y = np.array([float(np.mean(np.log(part))) for part in parts if part.size])
    x = age[held]
    count = sum(part.size for part in parts)
    method = "moderated t of the power-ups' mean log sizes"
    if y.size < FEWEST or float(np.ptp(x)) == 0:
        return _nothing(y.size, count, confidence, f"{method}: too few power-ups", _ratio_of_two(x, y))
    apart = scaled(x)
    width = float(apart @ apart)
    slope = float(apart @ y / width)
    rest = y - y.mean() - slope * apart
    rss = float(rest @ rest)
    dof = y.size - 2 + PRIOR_DOF
    error = math.sqrt((PRIOR_DOF * PRIOR_SD**2 + rss) / dof / width)
    plain = math.sqrt(rss / (y.size - 2) / width)
    t_plain = slope / plain if plain > 0 else math.copysign(math.inf, slope) if slope else 0.0
    return _with_t(slope, error, dof, (t_plain, y.size - 2), (int(y.size), count), confidence, method)


def size_growth_within(
    sizes: Sequence[ArrayLike],
    times: Sequence[ArrayLike],
    *,
    dead_time: float,
    confidence: float = 0.95,
) -> SizeGrowth:
    """Are sizes larger the longer a power-up runs? For claims within one power-up, or within each of a few.

    Parameters
    ----------
    sizes, times : sequence of array_like
        Sizes and sorted times of the excursions of each power-up, in seconds.
    dead_time : float
        Longest pause inside a burst, in seconds. Swings closer than this, or than 90 s, are one burst: swings of one
        burst are alike and would pass for evidence.
    confidence : float
        Of the interval of the factor from the begin of a power-up to its end.

    Returns
    -------
    SizeGrowth
        Without a claim (p = 1) below ten bursts in all.

    Raises
    ------
    ValueError
        If a size is not above 0, times are unsorted, or the two do not fit.

    Notes
    -----
    Least squares of the bursts' mean log sizes on their place, each power-up with a level of its own. Neighbours may
    be alike: with r their correlation, N bursts are worth N (1 - r) / (1 + r) of them, in the error as in the degrees of
    Student's t (Santer et al. 2000, Journal of Geophysical Research 105, 7337-7356). r is that of the residuals, freed
    of the bias that the fit puts on it (Marriott and Pope 1954, Biometrika 41, 390-402; with a line fitted: van
    Giersbergen 2005, Economics Letters 89, 75-82), never below 0. Error and power:
    ``tests/studies/results/growth_within.md``.
    """
    confidence = check.share("confidence", confidence)
    dead_time = check.positive("dead_time", dead_time, what="seconds", zero=True)
    for name, given in (("sizes", sizes), ("times", times)):
        if isinstance(given, str) or len(given) == 0:
            raise ValueError(f"{name} must hold one sequence per power-up, got {given!r}")
    if len(sizes) != len(times):
        raise ValueError(f"sizes and times must be of as many power-ups, got {len(sizes)} and {len(times)}")
    xs, ys, count = [], [], 0
    for i, (size, when) in enumerate(zip(sizes, times, strict=True)):
        v = check.positive_array(f"sizes[{i}]", size)
        t = check.paired(f"times[{i}]", when, v.size, each="value of sizes")
        check.rising(f"times[{i}]", t)
        count += int(v.size)
        if not v.size:
            continue
        burst = np.concatenate(([0], np.cumsum(np.diff(t) > max(dead_time, APART_S))))
        y = np.bincount(burst, np.log(v)) / np.bincount(burst)
        if y.size < FEWEST_OF_ONE:
            continue
        x = (np.arange(y.size) + 0.5) / y.size
        xs.append(x - x.mean())
        ys.append(y - y.mean())
    method = f"line through bursts ({max(dead_time, APART_S):g} s apart), t with neighbours alike"
    used, number = len(xs), sum(x.size for x in xs)
    if number < FEWEST_BURSTS:
        return _nothing(len(sizes), count, confidence, f"{method}: fewer than {FEWEST_BURSTS} bursts", math.nan)
    place, level = np.concatenate(xs), np.concatenate(ys)
    width = float(place @ place)
    slope = float(place @ level / width)
    rests = [y - slope * x for x, y in zip(xs, ys, strict=True)]
    rss = math.fsum(float(rest @ rest) for rest in rests)
    free = number - used - 1
    alike = _alike(rests, rss)
    dof = max(math.floor(number * (1.0 - alike) / (1.0 + alike)) - used - 1, math.ceil(free * LEAST_FREE))
    plain = math.sqrt(rss / free / width)
    error = plain * math.sqrt((1.0 + alike) / (1.0 - alike))
    t_plain = slope / plain if plain > 0 else math.copysign(math.inf, slope) if slope else 0.0
    return _with_t(slope, error, dof, (t_plain, free), (used, count), confidence, method)


def _alike(rests: Sequence[Floats], rss: float) -> float:
    """Correlation of neighbours in the residuals of a line with a level for each part, freed of the fit's bias."""
    if rss <= 0:
        return 0.0
    number, levels = sum(rest.size for rest in rests), len(rests)
    seen = math.fsum(float(rest[1:] @ rest[:-1]) for rest in rests) / rss
    return min(max((number * seen + levels + 1) / (number - 3 * levels - 1), 0.0), MOST_ALIKE)


def _nothing(power_ups: int, count: int, confidence: float, method: str, factor: float) -> SizeGrowth:
    return SizeGrowth(
        p_up=1.0,
        p_down=1.0,
        p_up_plain=1.0,
        p_down_plain=1.0,
        factor=factor,
        low=0.0,
        high=math.inf,
        statistic=math.nan,
        dof=0,
        count=int(count),
        power_ups=int(power_ups),
        confidence=confidence,
        method=method,
    )


def _ratio_of_two(x: Floats, y: Floats) -> float:
    if x.size != 2 or x[0] == x[1]:
        return math.nan
    return _factor(float(y[np.argmax(x)] - y[np.argmin(x)]))


def _with_t(
    slope: float,
    error: float,
    dof: int,
    plain: tuple[float, int],
    seen: tuple[int, int],
    confidence: float,
    method: str,
) -> SizeGrowth:
    t = slope / error if error > 0 else math.copysign(math.inf, slope) if slope else 0.0
    reach = float(special.stdtrit(dof, 0.5 + 0.5 * confidence)) * error
    return SizeGrowth(
        p_up=float(special.stdtr(dof, -t)),
        p_down=float(special.stdtr(dof, t)),
        p_up_plain=float(special.stdtr(plain[1], -plain[0])),
        p_down_plain=float(special.stdtr(plain[1], plain[0])),
        factor=_factor(slope),
        low=_factor(slope - reach),
        high=_factor(slope + reach),
        statistic=t,
        dof=int(dof),
        count=int(seen[1]),
        power_ups=int(seen[0]),
        confidence=confidence,
        method=method,
    )


def _factor(log_growth: float) -> float:
    return math.exp(log_growth) if log_growth < 700.0 else math.inf


BLOCKS, PER_BLOCK = (5, 10), 4  # batch means: fewest and most blocks, bursts of each; tests/studies/results/sizes_ahead.md
# Swings that grow faster than a constant factor come sooner: as for a level that moves (`evidence.outlook.end_state`),
# measured in tests/studies/results/sizes_ahead.md.
EARLY = 0.8
POINTS, CURVE = 801, 61


@dataclass(frozen=True, slots=True)
class SizesAhead(Result):
    """Time from the end of what was watched until the first swing at or beyond a threshold; infinite beyond ``horizon``.

    ``middle`` is as likely passed as not if the growth goes on; ``earliest`` takes in the uncertainty of the growth, and
    swings that grow faster and faster. No latest is told: growth may stop, and no log shows that beforehand.
    """

    earliest: float
    middle: float
    horizon: float
    size_now: float
    count: int
    confidence: float
    method: str
    curve: Floats
    """The line and its band, shape (points, 4): time from the first swing on, size, lower and upper."""

    @property
    def reads(self) -> str:
        """The forecast in words."""
        if not np.isfinite(self.earliest):
            return f"at this pace not within {digits_text(self.horizon, 3)}; the log is too short to look farther ahead"
        if not np.isfinite(self.middle):
            return f"not before {digits_text(self.earliest, 3)}, at this pace"
        return f"not before {digits_text(self.earliest, 3)}, as likely as not by {digits_text(self.middle, 3)} if the growth goes on"


def sizes_ahead(
    sizes: ArrayLike, times: ArrayLike, end: float, threshold: float, *, confidence: float = 0.95
) -> SizesAhead | None:
    """Forecast when growing swings reach a threshold.

    Parameters
    ----------
    sizes, times : array_like, shape (bursts,)
        Largest swing of each burst, above 0, and when it came, rising; ten bursts or more, else None is returned.
    end : float
        End of what was watched, at or after the last time; nothing is said beyond as much time again.
    threshold : float
        Size asked for, above 0.
    confidence : float
        Two-sided, of the line; ``earliest`` uses its one side.

    Raises
    ------
    ValueError
        If arrays do not fit, or an argument is out of range.

    Notes
    -----
    Straight line through the means of five to ten equal blocks of the log sizes (batch means),
    its band by t with two degrees of freedom fewer than blocks; single swings scatter about it by the standard deviation
    of the residuals and come as often as so far, so that the first beyond the threshold is the first event of a Poisson
    process whose rate rises with the line. Swings that grow faster than a constant factor come sooner, and those that stop growing never;
    how often the first such swing comes before ``earliest``: ``tests/studies/results/sizes_ahead.md``.
    """
    x = check.positive_array("sizes", sizes, least=1)
    t = check.paired("times", times, x.size, each="value of sizes")
    check.rising("times", t)
    end, threshold = check.positive("end", end, what="a time"), check.positive("threshold", threshold, what="a size")
    if t[-1] > end:
        raise ValueError(f"times must be at most end ({end:g}), got {t[-1]:g}")
    confidence = check.share("confidence", confidence)
    blocks = int(np.clip(x.size // PER_BLOCK, *BLOCKS))
    if x.size < FEWEST_BURSTS or float(np.ptp(t)) == 0:
        return None
    y = np.log(x)
    middle_t = np.array([part.mean() for part in np.array_split(t, blocks)])
    middle_y = np.array([part.mean() for part in np.array_split(y, blocks)])
    apart = middle_t - middle_t.mean()
    slope = float(apart @ middle_y / (apart @ apart))
    level = float(middle_y.mean())
    rest = middle_y - level - slope * apart
    spread = float(np.sqrt(rest @ rest / (blocks - 2)))
    single = float(np.sqrt(np.mean((y - level - slope * (t - middle_t.mean())) ** 2)))
    span = end - float(t[0]) if t[0] > 0 else end
    reach = float(special.stdtrit(blocks - 2, 0.5 + 0.5 * confidence))

    def line_at(moments: Floats) -> tuple[Floats, Floats]:
        """The line and the half width of its band."""
        away = moments - middle_t.mean()
        return level + slope * away, reach * spread * np.sqrt(1.0 / blocks + away**2 / (apart @ apart))

    ahead = np.linspace(0.0, span, POINTS)
    line, error = line_at(end + ahead)
    asked, per_step = np.log(threshold), x.size / span * (ahead[1] - ahead[0])
    tail = 0.5 * (1.0 - confidence)
    first = [
        _first(ahead, 1.0 - np.exp(-np.cumsum(special.ndtr((curve - asked) / max(single, 1e-9))) * per_step) >= chance)
        for curve, chance in ((line + error, tail), (line, 0.5))
    ]
    drawn = np.linspace(float(t[0]), end + span, CURVE)
    fit, wide = line_at(drawn)
    return SizesAhead(
        earliest=EARLY * first[0], middle=first[1], horizon=span, size_now=float(np.exp(line[0])), count=int(x.size), confidence=confidence,
        method="line through block means of log sizes, first passage", curve=np.column_stack((drawn, np.exp([fit, fit - wide, fit + wide]).T)),
    )  # fmt: skip


def _first(ahead: Floats, reached: Bools) -> float:
    place = np.flatnonzero(reached)
    return float(ahead[place[0]]) if place.size else float("inf")
