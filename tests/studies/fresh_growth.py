"""Events over power-ups and visits, for claims about rates and sizes. All data are invented.

Nulls in which nothing grows, however they bunch; truths in which something does; pairs before and after a repair.
A story is a list of power-ups, each with its day, its length, and the times and sizes of its swings; `files` draws the
log of each. A daily rhythm is only drawn over whole days, a pattern after switch-on is the same in every power-up:
these are no growth with age.

    python tests/studies/fresh_growth.py --seed 1 --n 5
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import sys
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from fresh_parts import Floats, runner, slow_noise, table

Files = list[dict[str, object]]
Intensity = Callable[[Floats], Floats]


@dataclass(frozen=True)
class PowerUp:
    """One power-up: seconds since the first one began, its length, and its swings."""

    start_s: float
    length_s: float
    at_s: Floats
    size_V: Floats


@dataclass(frozen=True)
class Story:
    """Power-ups of one unit and what is true of them.

    ``task`` is 'assess', 'visits' or 'compare'; ``visit`` numbers the visit (or the side) of each power-up;
    ``grows`` holds what truly grows: 'run' (rate within a run), 'age' (rate over power-ups), 'visits', 'size run',
    'size age', 'taps' (they provoke it); ``ratio`` is the true rate after over before, None where there is no pair.
    """

    kind: str
    task: str
    ups: tuple[PowerUp, ...]
    visit: tuple[int, ...]
    grows: frozenset[str]
    ratio: float | None = None
    taps: tuple[Floats, ...] = ()


def thinned(rng: np.random.Generator, length_s: float, rate_per_h: Intensity, most_per_h: float) -> Floats:
    """Draw a Poisson process of varying rate by thinning (Lewis and Shedler 1979)."""
    n = rng.poisson(most_per_h * length_s / 3600)
    t = np.sort(rng.uniform(0, length_s, n))
    return t[rng.uniform(0, most_per_h, n) < rate_per_h(t)]


def poisson(rng: np.random.Generator, length_s: float, per_h: float) -> Floats:
    """Draw swings that know nothing of each other."""
    return np.sort(rng.uniform(0, length_s, rng.poisson(per_h * length_s / 3600)))


def bursts(rng: np.random.Generator, length_s: float, per_h: float) -> Floats:
    """Draw bursts of 3 to 8, 15 to 90 s from one to the next."""
    starts = poisson(rng, length_s + 600, per_h / 5.5) - 600
    out = [a + np.cumsum(rng.exponential(rng.uniform(15, 90), int(rng.integers(3, 9)))) for a in starts]
    t = np.sort(np.concatenate([*out, np.empty(0)]))
    return t[(t >= 0) & (t < length_s)]


def cascade(rng: np.random.Generator, length_s: float, per_h: float) -> Floats:
    """Draw swings whose density is a random cascade: halves share unevenly, ten times over (clusters of clusters)."""
    total = np.ones(1)
    for _ in range(10):
        share = rng.beta(2.5, 2.5, total.size)
        total = np.stack([total * share, total * (1 - share)], axis=1).ravel() * 2
    at = int(rng.integers(0, 512))
    density = total[at : at + 512]  # a window, so that the ends are no ends of the cascade
    return thinned(rng, length_s, lambda t: per_h * density[(t / length_s * 511.99).astype(int)], per_h * density.max())


def self_exciting(rng: np.random.Generator, length_s: float, per_h: float) -> Floats:
    """Draw a self-exciting process, branching ratio 0.3 to 0.8, answers after 20 to 400 s on the mean; stationary."""
    branch, tau = rng.uniform(0.3, 0.8), np.exp(rng.uniform(np.log(20), np.log(400)))
    early = 20 * tau
    parents = list(poisson(rng, length_s + early, per_h * (1 - branch)) - early)
    out = list(parents)
    while parents:
        kids = [p + rng.exponential(tau) for p in parents for _ in range(rng.poisson(branch))]
        parents = [k for k in kids if k < length_s]
        out += parents
    t = np.sort(np.asarray(out))
    return t[(t >= 0) & (t < length_s)]


def long_tail_renewal(rng: np.random.Generator, length_s: float, per_h: float) -> Floats:
    """Draw gaps with a long tail: lognormal of sigma 1.3 to 1.8, or Pareto of exponent 1.6; observed from long after."""
    mean = 3600 / per_h
    n = int(200 * length_s / mean) + 500
    if rng.random() < 0.5:
        s = rng.uniform(1.3, 1.8)
        gaps = rng.lognormal(np.log(mean) - s * s / 2, s, n)
    else:
        gaps = mean * (0.6 / 1.6) * (1 + rng.pareto(1.6, n))
    t = np.cumsum(gaps)
    t = t - rng.uniform(0.3, 0.6) * t[-1]
    return t[(t >= 0) & (t < length_s)]


def slowly_modulated(rng: np.random.Generator, length_s: float, per_h: float) -> Floats:
    """Draw a rate that wanders: the log is an Ornstein-Uhlenbeck process, sd 0.7, 20 min to 2 h; stationary."""
    tau, n = rng.uniform(1200, 7200), 400
    a = np.exp(-length_s / n / tau)
    x = np.empty(n)
    x[0] = rng.standard_normal()
    for i in range(1, n):
        x[i] = a * x[i - 1] + np.sqrt(1 - a * a) * rng.standard_normal()
    rate = per_h * np.exp(0.7 * x - 0.245)
    return thinned(rng, length_s, lambda t: rate[(t / length_s * (n - 0.01)).astype(int)], float(rate.max()))


def daily(rng: np.random.Generator, length_s: float, per_h: float) -> Floats:
    """Draw a daily rhythm: the rate swings by nine tenths over 24 h, its phase at random."""
    phase = rng.uniform(0, 2 * np.pi)
    return thinned(rng, length_s, lambda t: per_h * (1 + 0.9 * np.sin(2 * np.pi * t / 86400 + phase)), 1.9 * per_h)


def decaying(rng: np.random.Generator, length_s: float, per_h: float) -> Floats:
    """Draw a rate that starts six times as high at switch-on and falls within a quarter of an hour."""
    return thinned(rng, length_s, lambda t: per_h * (1 + 5 * np.exp(-t / 900)), 6 * per_h)


def warming(rng: np.random.Generator, length_s: float, per_h: float) -> Floats:
    """Draw a rate that comes with the heat: from a tenth to all within an hour."""
    return thinned(rng, length_s, lambda t: per_h * (1 - 0.9 * np.exp(-t / 1800)), per_h)


def growing(factor: float) -> Callable[[np.random.Generator, float, float], Floats]:
    """Give a process whose rate grows by ``factor`` from the beginning of each run to its end, steadily in the log."""

    def draw(rng: np.random.Generator, length_s: float, per_h: float) -> Floats:
        low = per_h * np.log(factor) / (factor - 1)  # so that the mean rate is per_h
        return thinned(rng, length_s, lambda t: low * factor ** (t / length_s), low * factor)

    return draw


PROCESSES = {f.__name__: f for f in (poisson, bursts, cascade, self_exciting, long_tail_renewal, slowly_modulated)}


def scatter(rng: np.random.Generator, law: str, cv: float, n: int) -> Floats:
    """Give factors of mean 1 by which power-ups differ: gamma or lognormal of this coefficient of variation."""
    if cv == 0:
        return np.ones(n)
    if law == "gamma":
        return rng.gamma(1 / cv**2, cv**2, n)
    s = np.sqrt(np.log(1 + cv**2))
    return rng.lognormal(-s * s / 2, s, n)


def _build(
    rng: np.random.Generator, kind: str, task: str, days: list[float], factors: Floats, visit: list[int], *,
    draw: Callable[[np.random.Generator, float, float], Floats] = poisson, grows: tuple[str, ...] = (),
    ratio: float | None = None, per_h: float | None = None, hours: float | None = None,
    size_factors: Floats | None = None, size_run: float = 1.0, alike: float = 600.0,
) -> Story:  # fmt: skip
    """Put a story together; sizes are lognormal (sd 0.35 of log) about 0.25 V, half of it alike within ``alike`` s."""
    rate = float(np.exp(rng.uniform(np.log(3), np.log(15)))) if per_h is None else per_h
    ups = []
    for i, (day, factor) in enumerate(zip(days, factors, strict=True)):
        length = (rng.uniform(1.5, 4.0) if hours is None else hours) * 3600
        at = draw(rng, length, rate * factor)
        level = rng.normal(0, 0.25, int(length / alike) + 2)[(at / alike).astype(int)]
        size = 0.25 * np.exp(level + rng.normal(0, 0.25, at.size)) * size_run ** (at / length)
        size *= 1.0 if size_factors is None else size_factors[i]
        ups.append(PowerUp(round((day + rng.uniform(0, 0.3)) * 86400), length, at, np.clip(size, 0.07, 30.0)))
    return Story(kind, task, tuple(ups), tuple(visit), frozenset(grows), ratio)


def _few(rng: np.random.Generator, low: int = 2, high: int = 6) -> int:
    return int(rng.integers(low, high + 1))


def _tapped(rng: np.random.Generator, kind: str, draw: Callable[[np.random.Generator, float, float], Floats], chance: float) -> Story:
    """Tap the unit ten to twenty times in the first half-hour; each is answered within 2 s with this chance."""
    made = _build(rng, kind, "assess", [0.0], np.ones(1), [0], draw=draw, hours=2.0, per_h=rng.uniform(8, 20),
                  grows=("taps",) if chance else ())  # fmt: skip
    (up,) = made.ups
    taps = 60 + np.cumsum(rng.uniform(50, 110, int(rng.integers(10, 20))))
    answered = taps[rng.random(taps.size) < chance] + rng.uniform(0.3, 1.5, taps.size)[:1]
    at = np.concatenate([up.at_s, answered])
    size = np.concatenate([up.size_V, 0.25 * rng.lognormal(0, 0.3, answered.size)])
    order = np.argsort(at)
    return dataclasses.replace(made, ups=(dataclasses.replace(up, at_s=at[order], size_V=size[order]),), taps=(taps,))


def story(kind: str, seed: int) -> Story:
    """Make the story of a kind (see `KINDS`). Invented."""
    rng = np.random.default_rng([seed, 3, sum(map(ord, kind))])
    head, _, rest = kind.partition(" ")
    if head == "null":
        if rest in PROCESSES or rest in ("decaying", "warming"):
            n = _few(rng, 1, 6)
            draw = {**PROCESSES, "decaying": decaying, "warming": warming}[rest]
            grows = ("run",) if rest == "warming" else ()
            return _build(rng, kind, "assess", [float(d) for d in range(n)], np.ones(n), [0] * n, draw=draw, grows=grows)
        if rest == "daily":
            n = _few(rng, 1, 3)
            days = [3.0 * i for i in range(n)]
            return _build(rng, kind, "assess", days, np.ones(n), [0] * n, draw=daily, hours=24.0, per_h=rng.uniform(0.5, 3))
        if rest.startswith("sizes differ"):
            n, sd = _few(rng, 3, 6), float(rest.split()[-1])
            sizes = rng.lognormal(0, sd, n)
            return _build(rng, kind, "assess", [float(d) for d in range(n)], np.ones(n), [0] * n, size_factors=sizes)
        if rest.startswith("taps"):
            return _tapped(rng, kind, decaying if rest.endswith("decaying") else bursts, 0.0)
        law, cv = rest.split()
        n = _few(rng, 3, 6)
        return _build(rng, kind, "assess", [float(d) for d in range(n)], scatter(rng, law, float(cv), n), [0] * n)
    if head == "pair":
        a, b = _few(rng, 1, 4), _few(rng, 1, 4)
        days, sides = [*map(float, range(a)), *map(float, range(a + 7, a + 7 + b))], [0] * a + [1] * b
        ones = np.ones(a + b)
        if rest in PROCESSES or rest == "decaying":
            draw = {**PROCESSES, "decaying": decaying}[rest]
            return _build(rng, kind, "compare", days, ones, sides, draw=draw, ratio=1.0)
        if rest.startswith(("gamma", "lognormal")):
            law, cv = rest.split()
            return _build(rng, kind, "compare", days, scatter(rng, law, float(cv), a + b), sides, ratio=1.0)
        if rest == "sizes differ 0.5":
            return _build(rng, kind, "compare", days, ones, sides, ratio=1.0, size_factors=rng.lognormal(0, 0.5, a + b))
        a, b = _few(rng, 3, 4), _few(rng, 3, 4)
        days, sides = [*map(float, range(a)), *map(float, range(a + 7, a + 7 + b))], [0] * a + [1] * b
        cv = 0.4
        factors = scatter(rng, "gamma", cv, a + b)
        step = {"cured": 0.0, "a third": 1 / 3, "a tenth": 0.1, "threefold": 3.0, "tenfold": 10.0, "rare, not cured": 1.0}[rest]
        factors[a:] *= step
        rate = 0.3 if rest == "rare, not cured" else None
        return _build(rng, kind, "compare", days, factors, sides, ratio=step, per_h=rate)
    if head == "visits":
        v, per = _few(rng, 3, 5), _few(rng, 1, 2)
        visit = [i for i in range(v) for _ in range(per)]
        days = [40.0 * i + j for i in range(v) for j in range(per)]
        n = v * per
        if rest.startswith("growth"):
            factor = float(rest.split()[-1])
            factors = scatter(rng, "gamma", 0.3, n) * factor ** np.asarray(visit)
            return _build(rng, kind, "visits", days, factors, visit, grows=("visits",), per_h=rng.uniform(0.7, 2.0))
        law, cv = rest.split()[:2]
        # Half of the scatter belongs to the visit (another room, another mains), half to the power-up.
        factors = scatter(rng, law, float(cv) * 0.7, v)[visit] * scatter(rng, law, float(cv) * 0.7, n)
        return _build(rng, kind, "visits", days, factors, visit)
    n = _few(rng, 4, 7)
    days = [float(d) for d in range(n)]
    factor = float(rest.split()[-1])
    if rest.startswith("taps"):
        return _tapped(rng, kind, poisson, factor)
    if rest.startswith("run"):
        n = _few(rng, 1, 3)
        return _build(rng, kind, "assess", [float(d) for d in range(n)], np.ones(n), [0] * n, draw=growing(factor), grows=("run",))
    if rest.startswith("age"):
        factors = scatter(rng, "gamma", 0.3, n) * factor ** np.arange(n)
        return _build(rng, kind, "assess", days, factors, [0] * n, grows=("age",), per_h=rng.uniform(1, 3))
    if rest.startswith("size run"):
        return _build(rng, kind, "assess", days[:2], np.ones(2), [0] * 2, grows=("size run",), size_run=factor)
    return _build(rng, kind, "assess", days, np.ones(n), [0] * n, grows=("size age",), size_factors=factor ** np.arange(n))


CVS = ("0", "0.3", "0.5", "0.7", "1")
KINDS = (
    *(f"null {p}" for p in PROCESSES),
    "null decaying", "null warming", "null daily", "null taps decaying", "null taps bursts", "null sizes differ 0.3", "null sizes differ 0.5",
    *(f"null {law} {cv}" for law in ("gamma", "lognormal") for cv in CVS if (law, cv) != ("lognormal", "0")),
    *(f"pair {p}" for p in PROCESSES),
    "pair decaying", "pair sizes differ 0.5",
    *(f"pair {law} {cv}" for law in ("gamma", "lognormal") for cv in CVS if (law, cv) != ("lognormal", "0")),
    "pair cured", "pair a third", "pair a tenth", "pair threefold", "pair tenfold", "pair rare, not cured",
    *(f"visits {law} {cv}" for law in ("gamma", "lognormal") for cv in ("0.3", "0.7", "1")),
    "visits growth 1.5", "visits growth 2", "visits growth 3",
    "grows taps 0.4", "grows taps 0.8", "grows run 4", "grows run 20", "grows age 1.5", "grows age 2", "grows size run 4", "grows size age 1.4",
)  # fmt: skip


def files(made: Story, seed: int, cadence_s: float = 1.0) -> Files:
    """Draw the log of each power-up: swings of 1 to 5 s that fall back, 0.2 mV of noise, a warm-up of some mV."""
    rng = np.random.default_rng([seed, 4])
    epoch = np.datetime64("2031-03-03T09:00:00.000", "ms")
    out: Files = []
    rest = rng.normal(0, 4e-3)
    for k, up in enumerate(made.ups):
        t = np.arange(0.0, up.length_s, cadence_s)
        v = rest + rng.normal(0, 6e-3) * np.exp(-t / 300) + 0.03 * np.exp(-t / 4) + 2e-4 * rng.standard_normal(t.size)
        v += slow_noise(rng, t, 1e-4)
        sign = rng.choice([-1, 1])
        for at, size in zip(up.at_s, up.size_V, strict=True):
            i = np.searchsorted(t, at)
            j = min(i + int(np.ceil(rng.uniform(1, 5) / cadence_s)), t.size)
            v[i:j] += sign * size * np.linspace(1.0, 0.7, max(j - i, 1))[: j - i]
        stamps = epoch + np.round((up.start_s + t) * 1000).astype("timedelta64[ms]")
        out.append({"time": stamps, "left_V": np.round(v, 4)})
        if made.taps:
            marks = np.full(t.size, "", dtype=object)
            marks[np.searchsorted(t, made.taps[k])] = "stimulus: tap"
            out[-1]["mark"] = marks
    return out


QUESTIONS = ("provoked", "more often", "larger", "worse with age", "larger with age")


def said_of(made: Story, seed: int) -> list[str]:
    """Run the whole program on a story and give its claims about rates and sizes."""
    from flicker import assess, compare, over_visits, read_log

    logs = [read_log(f) for f in files(made, seed)]
    if made.task == "assess":
        (channel,) = assess(logs).channels
        claims = [f.question for f in channel.findings if str(f.question) in QUESTIONS and str(f.answer) == "yes"]
        return [str(q) for q in claims] + (["degrading"] if str(channel.verdict) == "degrading" else [])
    if made.task == "compare":
        before = [x for x, s in zip(logs, made.visit, strict=True) if s == 0]
        after = [x for x, s in zip(logs, made.visit, strict=True) if s == 1]
        (pair,) = compare(before, after).channels
        return [f"{pair.outcome} ({pair.aspect})" if pair.aspect else str(pair.outcome), f"cured {pair.cured}"]
    first = dt.date(2031, 3, 3)
    dates = {v: first + dt.timedelta(days=int(u.start_s // 86400)) for v, u in reversed(list(zip(made.visit, made.ups, strict=True)))}
    visits = [(dates[v], [x for x, w in zip(logs, made.visit, strict=True) if w == v]) for v in sorted(set(made.visit))]
    (channel_visits,) = over_visits(visits).channels
    return [f"rate {channel_visits.rate.answer}", f"size {channel_visits.size.answer}"]


def main() -> None:
    """Print, kind by kind, the claims."""
    args = runner(__doc__ or "")
    rows = []
    for kind in KINDS:
        if args.only not in kind:
            continue
        said: Counter[str] = Counter()
        events = 0
        for i in range(args.n):
            seed = args.seed * 1000 + i
            made = story(kind, seed)
            events += sum(u.at_s.size for u in made.ups)
            try:
                said.update(said_of(made, seed))
            except ValueError as error:
                said[f"refused: {str(error)[:60]}"] += 1
        truth = ", ".join(sorted(made.grows)) or ("nothing grows" if made.ratio is None else f"ratio {made.ratio:.2g}")
        rows.append((kind, truth, args.n, round(events / args.n), "; ".join(f"{k} {n}" for k, n in said.most_common())))
        print(*rows[-1], sep=" | ", file=sys.stderr, flush=True)
    print(table(("kind", "truth", "stories", "swings each", "claims"), rows))


if __name__ == "__main__":
    main()
