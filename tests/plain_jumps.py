"""Plain references of two rules, kept as checks from outside: jumps between levels, and movement in coloured noise."""
# ruff: noqa
import numpy as np
SCALES = (1, 2, 4, 8)          # readings averaged on each side of a jump
LEAST_V, Z, LEAST = 0.006, 7.0, 4

def step_sigma(d, digit=0.0):
    """Sigma of the differences from their lower quarter: half of the readings may take part in jumps."""
    return max(float(np.quantile(np.abs(d), .25)) / .3186, .5 * digit, 1e-9)

def reading_sigma(v, digit=0.0):
    """The one sigma for thresholds: from reading to reading; jumps, drift and wander do not raise it."""
    return step_sigma(np.diff(v), digit) / np.sqrt(2)

def jumps(v, m, digit=0.0, least_V=LEAST_V, z=Z):
    c = np.concatenate(([0.0], np.cumsum(v))); n = v.size
    if n < 8 * m + 40: return np.empty(0, int), np.empty(0), 0.0
    k = np.arange(m, n - m + 1); d = (c[k + m] - 2 * c[k] + c[k - m]) / m
    s = step_sigma(d, digit / np.sqrt(m)); on = np.abs(d) > max(z * s, least_V)
    idx = np.flatnonzero(on); at, size = [], []
    if idx.size:
        sg = np.sign(d[idx]); cut = np.flatnonzero((np.diff(idx) > 1) | (np.diff(sg) != 0)) + 1
        for part in np.split(idx, cut):
            j = part[np.argmax(np.abs(d[part]))]; at.append(k[j]); size.append(d[j])
    return np.array(at, int), np.array(size), s

def switching(v, digit=0.0, least_V=LEAST_V, z=Z, least=LEAST):
    """Most telling scale: (number of jumps up and down, median size, two levels?)."""
    best = None
    for m in SCALES:
        at, size, s = jumps(v, m, digit, least_V, z)
        up, down = int((size > 0).sum()), int((size < 0).sum()); pairs = min(up, down)
        if best is None or pairs > best["pairs"]:
            a = np.abs(size); spread = float(np.subtract(*np.quantile(a, (.75, .25))) / np.median(a)) if a.size >= 4 else np.inf
            best = dict(m=m, pairs=pairs, jump_V=float(np.median(a)) if a.size else 0.0, uneven=spread, two=spread < .3, sigma=s)
    best["yes"] = 2 * best["pairs"] >= least
    return best
from functools import lru_cache
W, Q = 1.2, 16

def minutes(t, v, width=60.0, begin=0.0):
    ok = np.isfinite(v) & (t >= begin); t, v = t[ok], v[ok]
    if t.size < 2: return np.empty(0), np.empty(0), np.empty(0)
    g = np.floor(t / width).astype(np.int64)
    order = np.lexsort((v, g)); gs, vs = g[order], v[order]; first = np.flatnonzero(np.r_[True, np.diff(gs) > 0]); n = np.diff(np.r_[first, gs.size])
    return (gs[first] + .5) * width, vs[first + n // 2], n

def parts(u, y, q=Q, w=W):
    x = u - u.mean(); b = (x @ y) / (x @ x); e = y - y.mean() - b * x
    j = np.arange(2, q + 2); C = np.cos(np.pi * j[:, None] * u[None, :]); C = C - C.mean(1, keepdims=True)
    a = (C @ e) / (C ** 2).sum(1) # amplitude of each cosine
    return b, np.sqrt(np.mean(a ** 2 * j ** w)), a

@lru_cache
def crit(level=.02, q=Q, w=W, n=240, reps=6000):
    rng = np.random.default_rng(1); N = 4 * n; f = np.arange(1, N // 2 + 1); amp = f ** (-w / 2)
    u = (np.arange(n) + .5) / n; T = []
    for _ in range(reps):
        z = np.zeros(N // 2 + 1, complex); z[1:] = amp * (rng.normal(size=f.size) + 1j * rng.normal(size=f.size)); y = np.fft.irfft(z, N)[:n]
        b, s, _ = parts(u, y, q, w); T.append(abs(b) / s)
    return float(np.quantile(T, 1 - level))

def moving(t, v, limit=.020, begin=1200.0, level=.02):
    tm, y, n = minutes(t, v, begin=begin)
    if y.size < 40: return dict(moved=np.nan, low=np.nan, high=np.nan, yes=False, no=False)
    u = (tm - tm[0]) / (tm[-1] - tm[0]); b, s, a = parts(u, y); h = crit(level) * s
    return dict(moved=b, err=h, low=max(abs(b) - h, 0), high=abs(b) + h, yes=abs(b) > limit and abs(b) > h, shown=abs(b) > h, no=abs(b) + h <= limit)
