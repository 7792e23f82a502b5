"""Plain reference of the guard's rule, kept as a check from outside: raw readings in, reasons out."""

# ruff: noqa
from dataclasses import dataclass
import numpy as np
from scipy.stats import binom, chi2


@dataclass(frozen=True)
class G:
    open_s: float = 8.0  # an open lead before the output relay closes reads anything ...
    open_V: float = 1.0  # ... up to this; only if the leads may sit behind the relay ...
    open_median_V: float = (
        0.3  # ... and the signed median of the first half of it is no more than this: else it is a surge
    )
    surge: tuple = ((30.0, 0.200), (120.0, 0.100))  # until so many seconds after switch-on readings may be so large
    peak_V: float = 0.200  # and at any later time
    warm_s: float = 1200.0  # from here on movement counts
    cell_s: float = 300.0
    rest_V: float = 0.050  # largest five-minute median, and readings beyond it ...
    beyond_share: float = 0.001  # ... in at most this share of the time
    move_V: float = 0.020  # range of five-minute medians, all runs together
    spread_V: float = (
        0.015  # 1 % to 99 % range within five minutes; a reading so far from the median is a swing: one may be
    )
    swing_V: float = 0.040  # ... and none so far
    apart_s: float = 10.0
    seldom_s: float = 30.0  # readings further apart than this clear nothing
    alive_V: float = 0.002  # nor does a lead that never read more than this
    blank_s: float = 2.0  # no reading for so long in this channel alone
    rate_per_h: float = 1.0
    conf: float = 0.95


def stretches(on):
    x = np.diff(np.r_[0, on.astype(np.int8), 0])
    return np.flatnonzero(x > 0), np.flatnonzero(x < 0)


def cells(t, v, width):
    """Begin, median, 1 % and 99 % quantile and count of each cell, and each reading's cell."""
    g = np.floor(t / width).astype(np.int64)
    order = np.lexsort((v, g))
    gs, vs = g[order], v[order]
    first = np.flatnonzero(np.r_[True, np.diff(gs) > 0])
    n = np.diff(np.r_[first, gs.size])
    # the page's reference takes the upper of two middle readings: turned leads then change a median; here both ends are alike
    middle = 0.5 * (vs[first + (n - 1) // 2] + vs[first + n // 2])
    low = (0.01 * (n - 1) + 0.5).astype(int)
    return gs[first] * width, middle, vs[first + low], vs[first + n - 1 - low], n, np.searchsorted(gs[first], g)


def blanks(v, mates, step, g):
    """Own blanks long and short (readings that this channel alone lacks), and the mates' own short ones."""
    least = max(g.blank_s, 1.5 * step)

    def own(a, others):
        seen = np.logical_or.reduce([np.isfinite(o) for o in others]) if others else np.ones(a.size, bool)
        b, e = stretches(np.isnan(a) & seen)
        long = (e - b) * step >= least
        return int(long.sum()), int((~long).sum())

    return (*own(v, mates), sum(own(m, [v])[1] for m in mates))


def guard(runs, mates=(), starts=None, g=G(), speaker_side=True):
    """`runs`: [(t, v)], v NaN where the meter gave no reading, inf where over range; `mates`: the same of the other channels;
    `starts`: does run k begin with a power-up? (False only where it follows the run before within a minute);
    `speaker_side`: may the leads sit behind the output relay? (False: on the amplifier side no lead is open at the start)"""
    m = dict(
        hours=0.0,
        judged_h=0.0,
        step=0.0,
        peak=0.0,
        open_peak=0.0,
        over=0,
        largest=0.0,
        last=np.nan,
        range=0.0,
        spread=0.0,
        swings=0,
        swings_40=0,
        beyond_s=0.0,
        blank_long=0,
        blank_short=0,
        blank_mates=0,
    )
    low, high, late = np.inf, -np.inf, False
    for k, (t, v) in enumerate(runs):
        t, v = np.asarray(t, float), np.asarray(v, float)
        t = t - t[0]
        up = starts is None or bool(starts[k])
        if not up and k:
            t = t + run_end  # continues the run before
        step = float(np.median(np.diff(t))) if t.size > 1 else 1.0
        run_end = t[-1] + step
        m["step"] = max(m["step"], step)
        for key, x in zip(
            ("blank_long", "blank_short", "blank_mates"),
            blanks(v, [o[k][1] for o in mates if len(o[k][1]) == v.size], step, g),
        ):
            m[key] += x
        m["over"] += stretches(np.isinf(v))[0].size
        t, v = t[np.isfinite(v)], v[np.isfinite(v)]
        a = np.abs(v)
        if t.size < 2:
            continue
        first = t < 0.5 * g.open_s
        if first.sum() < 3:  # one reading is no middle: the first three are taken
            first = np.arange(t.size) < 3
        grace = up and speaker_side and (not first.any() or abs(float(np.median(v[first]))) <= g.open_median_V)
        since = g.open_s if grace else t[0]
        m["open_peak"] = max(m["open_peak"], a[t < since].max(initial=0))
        m["peak"] = max(m["peak"], a[t >= since].max(initial=0))
        for until, most in g.surge:
            late |= bool((a[(t >= since) & (t < until)] > most).any())
            since = until
        t, v, a = t[t >= since], v[t >= since], a[t >= since]
        if t.size < 2:
            continue
        dt = np.minimum(np.diff(t, append=t[-1] + step), 2 * step)
        m["hours"] += dt.sum() / 3600
        m["beyond_s"] += float(dt[a > g.rest_V].sum())
        begin, mid, lo, hi, n, which = cells(t, v, g.cell_s)
        full = n * step >= g.cell_s / 3
        off = np.abs(v - mid[which])
        for key, least in (("swings", g.spread_V), ("swings_40", g.swing_V)):
            x = t[off > least]
            m[key] += 0 if x.size == 0 else 1 + int((np.diff(x) > g.apart_s).sum())
        if full.any():
            m["largest"] = max(m["largest"], float(np.abs(mid[full]).max()))
            m["last"] = float(mid[full][-1])
        warm = full & (begin >= g.warm_s)
        if warm.any():
            low, high = min(low, mid[warm].min()), max(high, mid[warm].max())
            m["judged_h"] += warm.sum() * g.cell_s / 3600
            m["spread"] = max(
                m["spread"], float(np.where(n[warm] < 100, 0.0, (hi - lo)[warm]).max())
            )  # of fewer than 100 readings 1 % is one reading: a swing
    m["range"] = float(max(high - low, 0.0)) if np.isfinite(low) else 0.0
    m["upper_per_h"] = np.inf if m["hours"] <= 0 else float(chi2.ppf(g.conf, 2 * m["swings"] + 2) / 2 / m["hours"])
    short, theirs = m["blank_short"], m["blank_mates"]
    alone = short > 0 and (not mates or binom.sf(short - 1, short + theirs, 1 / (1 + len(mates))) <= 0.025)
    m["why"] = [
        w
        for w, on in dict(
            open=m["open_peak"] > g.open_V,
            peak=m["peak"] > g.peak_V or late,
            over=m["over"] > 0,
            rest=m["largest"] > g.rest_V,
            beyond=m["beyond_s"] > g.beyond_share * 3600 * m["hours"],
            move=m["range"] > g.move_V,
            spread=m["spread"] > g.spread_V,
            swings=m["swings_40"] > 0 or m["swings"] > 1,
            rate=m["upper_per_h"] > g.rate_per_h,
            blank=m["blank_long"] > 0 or alone,
            short=m["judged_h"] < 1.0,
            seldom=m["step"] > g.seldom_s,
            dead=max(m["peak"], m["open_peak"]) < g.alive_V,
        ).items()
        if on
    ]
    return m


# Where a unit is switched off and on within a file: plain reference of that rule.
ZERO_V, OFF_S, BEFORE_S, BUMP_V, START_V = 3e-4, 60.0, 40.0, 0.3, 0.02


def cut(runs):
    """runs: list of (t, {channel: v}) -> same, cut."""
    out = []
    for t, cols in runs:
        t = np.asarray(t, float)
        back = np.flatnonzero(np.diff(t) < 0) + 1
        for a, b in zip(np.r_[0, back], np.r_[back, t.size]):
            out += _off(t[a:b], {c: np.asarray(v, float)[a:b] for c, v in cols.items()})
    return out


def _off(t, cols):
    M = np.max([np.abs(np.where(np.isnan(v), 0, v)) for v in cols.values()], axis=0)
    q = M <= ZERO_V
    x = np.diff(np.r_[0, q.astype(np.int8), 0])
    bs, es = np.flatnonzero(x > 0), np.flatnonzero(x < 0)
    parts, at = [], 0
    for b, e in zip(bs, es):
        if e >= t.size or t[e - 1] - t[b] < OFF_S or M[(t >= t[e]) & (t < t[e] + 5)].max() < START_V:
            continue
        f = int(np.searchsorted(t, t[b] - BEFORE_S))
        f = max(f, at)
        if M[f:b].max(initial=0) > BUMP_V:
            f = b
        parts.append((at, f))
        at = e
    parts.append((at, t.size))
    return [(t[a:b], {c: v[a:b] for c, v in cols.items()}) for a, b in parts if b - a > 1]
