"""Stories of outputs that are cut off from the meter: a common lead that falls off, relays that open, columns a thousand times too small. All data are invented.

Written before reading how the program decides. Physics: one voltage in series with all inputs where the common lead is open, a meter that takes
the mean of the time before each reading, a cable that discharges into ten megohm. Common practice, no source: protection relays, sleeping and
muting units, digits of loggers. Rests lie at least six digits and six sigma from zero where a fall must be seen; sizes and lengths are invented.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from fresh_bench_parts import HOUR, Bench, arrivals, between, nothing_shown, uncleared
from fresh_parts import Floats, slow_noise, telegraph

EIGHT = ("a", "b", "c", "d", "e", "f", "g", "h")


def meter(b: Bench, *, cadences: tuple[float, ...], names: tuple[int, ...] = (1, 2, 3, 5, 8), digits: tuple[float, ...] = (1e-5, 1e-4, 5e-4, 1e-3)) -> None:
    """Draw another meter: its cadence, digit, channels, mean or instant, and how noisy each output is; rests are drawn anew."""
    rng = b.rng
    k = int(rng.choice(names))
    b.names = (("left", "right", "sub")[:k] if k < 4 else ("left", *EIGHT[1:k]))
    b.__post_init__()
    b.step_s, b.digit = float(rng.choice(cadences)), float(rng.choice(digits))
    b.mean_s = float(rng.choice([0.0, 0.0, 0.3, 0.95])) * b.step_s
    b.white = {n: between(rng, 2e-5, 6e-4) for n in b.names}
    b.rest = {n: rests(b, n, 40e-3) for n in b.names}


def rests(b: Bench, name: str, most: float) -> float:
    """A rest of either sign that stands out of the digit and of the noise by six times at least, and 1 mV."""
    low = max(1e-3, 6 * b.digit, 6 * np.hypot(b.white[name], 1e-4))
    return float(b.rng.choice([-1, 1]) * between(b.rng, low, max(most, 1.2 * low)))


def means(b: Bench, t: Floats, spans: list[tuple[float, float]]) -> Floats:
    """Share of each reading that lies within spans of time: 0 or 1 for instants, in between for means."""
    out = np.zeros(t.size)
    w = b.mean_s
    for a, z in spans:
        if not w:
            out[np.searchsorted(t, a) : np.searchsorted(t, z)] = 1.0
            continue
        i, j = np.searchsorted(t, (a, z + w))
        out[i:j] += np.clip(np.minimum(t[i:j], z) - np.maximum(t[i:j] - w, a), 0, w) / w
    return np.clip(out, 0, 1)


def facts(b: Bench) -> None:
    """Note the bench with a failure."""
    b.fact(mean_s=b.mean_s, channels=str(len(b.names)), rest_V=b.rest["left"], white_V=b.white["left"])


def dead(b: Bench, t: Floats, *, floor: float = 0.0, hum: float = 0.0) -> Floats:
    """What an input reads that sees no output: the meter's zero, its own noise, hum at a beat with the cadence."""
    v = b.rng.normal(0, 5e-5) + (floor or 2e-5) * b.rng.standard_normal(t.size)
    return v + hum * np.sin(2 * np.pi * np.cumsum(b.rng.normal(0.31, 0.05, t.size)))


def cut(b: Bench, t: Floats, spans: list[tuple[float, float]], names: tuple[str, ...], **open_lead: float) -> dict[str, Floats]:
    """All outputs, those named cut off from the meter in the spans."""
    away = means(b, t, spans)
    v = {n: b.output(t, n) for n in b.names}
    for n in names:
        v[n] = (1 - away) * v[n] + away * dead(b, t, **open_lead)
    facts(b)
    return v


def spans_of(b: Bench, hours: float, per_h: float, low_s: float, high_s: float, begin_s: float = 1500.0) -> list[tuple[float, float]]:
    """Draw spans at random, from 25 minutes on; at least four of them."""
    at = arrivals(b.rng, hours * HOUR - begin_s - 100, per_h) + begin_s
    if at.size < 4:
        at = np.sort(b.rng.uniform(begin_s, hours * HOUR - 100, 4))
    return [(float(a), float(a + between(b.rng, low_s, high_s))) for a in at]


def hidden(b: Bench, t: Floats, v: dict[str, Floats], names: tuple[str, ...]) -> None:
    """These channels must not be cleared."""
    b.step("assess", [b.table(0, t, v)], never=[x for n in names for x in uncleared(n)])


# ------------------------------------------------------------ the common lead


def common(b: Bench, t: Floats, one_more: Floats, gain: float) -> None:
    """From one to two hours on each channel reads a share of its own volts and one voltage more; fewer than three hours were seen."""
    begin = b.rng.uniform(0.7, 1.9) * HOUR
    w = b.mean_s or 1e-9
    off = np.clip((t - begin) / w, 0, 1)
    facts(b)
    b.fact(off_at_s=float(begin), one_more_V=float(np.std(one_more)), gain=gain)
    v = {n: (1 - off) * (x := b.output(t, n)) + off * (gain * x + one_more) for n in b.names}
    hidden(b, t, v, b.names)


def slow_meter(b: Bench, names: tuple[int, ...] = (2, 3, 5, 8)) -> Floats:
    """A meter that averages nearly all of its interval, for four to seven hours."""
    meter(b, cadences=(0.5, 1.0, 2.0, 5.0, 10.0), names=names)
    b.mean_s = 0.95 * b.step_s
    return b.instants(b.rng.uniform(4, 7))


def common_averaged(b: Bench) -> None:
    """The common lead falls off a meter that takes means: all channels keep their own volts, and a bias of some millivolts with little pick-up is added to all."""
    t = slow_meter(b)
    bias = b.rng.choice([-1, 1]) * between(b.rng, 2e-4, 8e-3)
    common(b, t, bias + slow_noise(b.rng, t, between(b.rng, 2e-5, 1e-3)) + between(b.rng, 2e-5, 5e-4) * b.rng.standard_normal(t.size), 1.0)


def common_to_zero(b: Bench) -> None:
    """The same lead, and all channels fall together to about zero: a twentieth of their volts at most, and pick-up that the mean takes away but for 20 to 300 uV."""
    t = slow_meter(b)
    common(b, t, dead(b, t, hum=between(b.rng, 2e-5, 3e-4)), float(b.rng.uniform(0, 0.05)))


def common_creeps(b: Bench) -> None:
    """The same lead, its end charged by the leads beside it: all channels gain one voltage that creeps by 5 to 15 mV in a quarter of an hour and stays."""
    t = slow_meter(b)
    size = b.rng.choice([-1, 1]) * b.rng.uniform(5e-3, 15e-3)
    begin = 0.7 * HOUR
    common(b, t, size * (1 - np.exp(-np.maximum(t - begin, 0) / 900.0)) + 1e-4 * b.rng.standard_normal(t.size), 1.0)


def common_mean_of_all(b: Bench) -> None:
    """The common of a logger of three to eight inputs floats to the mean of all outputs: each channel reads its own volts less that mean."""
    t = slow_meter(b, (3, 5, 8))
    mean = float(np.mean([b.rest[n] for n in b.names]))
    common(b, t, -mean + between(b.rng, 1e-5, 2e-4) * b.rng.standard_normal(t.size), 1.0)


def both_offset_sound(b: Bench) -> None:
    """Sound: the meter's zero is set anew in mid-log, and all channels stand 0.5 to 4 mV elsewhere; no noise is added."""
    t = slow_meter(b)
    step = b.rng.choice([-1, 1]) * between(b.rng, 5e-4, 4e-3) * (t > b.rng.uniform(1.2, 2.2) * HOUR)
    facts(b)
    b.rest = {n: float(np.clip(r, -0.03, 0.03)) for n, r in b.rest.items()}
    b.step("assess", [b.table(0, t, {n: b.output(t, n) + step for n in b.names})], sound=b.names)


# ------------------------------------------------------------ a relay that opens


def relay_blinks(b: Bench) -> None:
    """An output relay opens for 0.3 to 1.9 s, six to thirty an hour, seen by one to twenty readings a second: zero stands in place of what was there."""
    meter(b, cadences=(0.05, 0.1, 0.25, 0.5), names=(1, 2, 3))
    hours = b.rng.uniform(3.5, 4.5)
    spans = spans_of(b, hours, b.rng.uniform(6, 30), max(0.3, 1.2 * b.step_s), 1.9)
    hidden(b, t := b.instants(hours), cut(b, t, spans, ("left",)), ("left",))


def relay_fast(b: Bench) -> None:
    """The same at a hundred readings a second: it opens for 50 to 400 ms, ten to forty an hour. One channel, instants."""
    meter(b, cadences=(0.01,), names=(1,))
    b.mean_s, hours = 0.0, 3.4
    hidden(b, t := b.instants(hours), cut(b, t, spans_of(b, hours, b.rng.uniform(10, 40), 0.05, 0.4), ("left",)), ("left",))


def relay_pickup(b: Bench) -> None:
    """A relay that opens for 5 to 60 s, five to fifteen an hour, to pick-up of 0.3 to 1.5 mV about zero instead of zero; the rest is 8 to 40 mV."""
    meter(b, cadences=(0.2, 0.5, 1.0, 2.0), names=(1, 2, 3))
    b.rest["left"] = float(b.rng.choice([-1, 1]) * b.rng.uniform(8e-3, 40e-3))
    hours = b.rng.uniform(4, 6)
    spans = spans_of(b, hours, b.rng.uniform(5, 15), 5, 60)
    hidden(b, t := b.instants(hours), cut(b, t, spans, ("left",), hum=between(b.rng, 3e-4, 1.5e-3)), ("left",))


def relay_hourly(b: Bench) -> None:
    """A relay opens for eight to twelve minutes once an hour, about; all of two to eight channels hang on it, or the left alone."""
    meter(b, cadences=(0.5, 1.0, 2.0, 5.0))
    hours = b.rng.uniform(6, 8)
    at = np.arange(0.8, hours - 0.3, 1.0) * HOUR + b.rng.uniform(-400, 400)
    which = b.names if b.rng.random() < 0.5 else ("left",)
    spans = [(float(a), float(a + b.rng.uniform(480, 720))) for a in at]
    b.fact(cut_off=str(len(which)))
    hidden(b, t := b.instants(hours), cut(b, t, spans, which), which)


def relay_slow_logger(b: Bench) -> None:
    """A relay that opens for 8 to 40 s, four to ten an hour, before a logger of one reading each 5 to 20 s: one to five readings at zero, or part of a mean."""
    meter(b, cadences=(5.0, 10.0, 20.0), names=(1, 2, 3))
    hours = b.rng.uniform(6, 10)
    spans = spans_of(b, hours, b.rng.uniform(4, 10), 8, 40)
    hidden(b, t := b.instants(hours), cut(b, t, spans, ("left",)), ("left",))


def relay_discharges(b: Bench) -> None:
    """A relay that opens for 6 to 40 s, eight an hour; cable and input discharge in 0.5 to 3 s, so the volts go down slowly and come back at once."""
    meter(b, cadences=(0.1, 0.25, 0.5), names=(1, 2))
    b.mean_s, hours = 0.0, b.rng.uniform(4, 5)
    t, tau = b.instants(hours), b.rng.uniform(0.5, 3)
    v = {n: b.output(t, n) for n in b.names}
    facts(b)
    b.fact(tau_s=float(tau))
    for a, z in spans_of(b, hours, 8.0, 6, 40):
        i, j = np.searchsorted(t, (a, z))
        v["left"][i:j] = b.rest["left"] * np.exp(-(t[i:j] - a) / tau) + dead(b, t[i:j])
    hidden(b, t, v, ("left",))


def relay_all_together(b: Bench) -> None:
    """The protection opens for all outputs at once, 0.5 to 20 s, four to twelve an hour: what stood at one of them was not seen."""
    meter(b, cadences=(0.25, 0.5, 1.0), names=(2, 3, 5, 8))
    hours = b.rng.uniform(4, 5)
    spans = spans_of(b, hours, b.rng.uniform(4, 12), max(0.5, 1.5 * b.step_s), 20)
    hidden(b, t := b.instants(hours), cut(b, t, spans, b.names), b.names)


def relay_seldom(b: Bench) -> None:
    """A relay opens for 3 to 60 s, four to six times in a whole evening of five to eight hours."""
    meter(b, cadences=(0.5, 1.0, 2.0), names=(1, 2, 3))
    hours = b.rng.uniform(5, 8)
    spans = spans_of(b, hours, 0.5, 3, 60)
    hidden(b, t := b.instants(hours), cut(b, t, spans, ("left",)), ("left",))


def relay_longer(b: Bench) -> None:
    """A relay opens, each time longer: from a second to five minutes, ten times."""
    meter(b, cadences=(0.5, 1.0), names=(1, 2, 3))
    hours = b.rng.uniform(5, 7)
    at = np.sort(b.rng.uniform(1500, hours * HOUR - 400, 10))
    spans = [(float(a), float(a + w)) for a, w in zip(at, np.geomspace(1.2, 300, 10), strict=True)]
    hidden(b, t := b.instants(hours), cut(b, t, spans, ("left",)), ("left",))


# ------------------------------------------------------------ sound, and alike


def sound(b: Bench, t: Floats, left: Callable[[Floats], Floats]) -> None:
    """The left output carries this beside its rest; all are sound."""
    facts(b)
    v = {n: b.output(t, n) for n in b.names}
    v["left"] = left(v["left"])
    b.step("assess", [b.table(0, t, v)], sound=b.names)


def popcorn_to_zero(b: Bench) -> None:
    """Sound: popcorn noise of 1 to 4 mV, and its other level lies at zero by chance, with the same noise on it; dwells of 0.5 to 60 s."""
    meter(b, cadences=(0.1, 0.5, 1.0, 2.0), names=(1, 2, 3))
    size = b.rng.uniform(1e-3, 4e-3) * b.rng.choice([-1, 1])
    b.rest["left"], b.white["left"] = float(size), max(b.white["left"], 1.5e-4)
    t = b.instants(b.rng.uniform(4, 6))
    dwell = between(b.rng, 0.5, 60)
    sound(b, t, lambda x: x - size * telegraph(b.rng, t, dwell, dwell * b.rng.uniform(1, 10)))


def digit_flickers(b: Bench) -> None:
    """Sound: a rest of half a digit to three digits of 0.5 or 1 mV; readings go to zero and come back all evening."""
    meter(b, cadences=(0.1, 0.5, 1.0, 5.0, 10.0), digits=(5e-4, 1e-3))
    for n in b.names:
        b.rest[n] = float(b.rng.choice([-1, 1]) * b.digit * b.rng.uniform(0.5, 3))
        b.white[n] = b.digit * between(b.rng, 0.2, 1.0)
    sound(b, b.instants(b.rng.uniform(4, 6)), lambda x: x)


def hum_through_zero(b: Bench) -> None:
    """Sound: hum of 1 to 2.5 mV, beating, through zero at each turn; the rest is smaller."""
    meter(b, cadences=(0.1, 0.5, 1.0), names=(1, 2, 3))
    b.mean_s = 0.0
    t, size = b.instants(b.rng.uniform(4, 5)), b.rng.uniform(1e-3, 2.5e-3)
    f = b.rng.uniform(0.01, 0.49) / b.step_s
    b.rest["left"] = float(b.rng.choice([-1, 1]) * b.rng.uniform(0.2, 0.9) * size)
    sound(b, t, lambda x: x + size * np.sin(2 * np.pi * f * t) * (1 + 0.5 * np.sin(2 * np.pi * t / b.rng.uniform(20, 600))))


def breathes(b: Bench) -> None:
    """Sound: a noisy old unit whose level breathes about zero by 1 to 2.5 mV, slowly, on a digit of 0.1 mV and finer."""
    meter(b, cadences=(0.1, 1.0, 5.0), names=(1, 2, 3), digits=(1e-5, 1e-4))
    b.rest["left"] = float(b.rng.normal(0, 1.5e-3))
    t = b.instants(b.rng.uniform(4, 7))
    sound(b, t, lambda x: x + slow_noise(b.rng, t, b.rng.uniform(1e-3, 2.5e-3)))


def mode_changed(b: Bench) -> None:
    """Sound: an owner changes the mode of a receiver two to four times in an evening, and all relays open for 1 to 2 s."""
    meter(b, cadences=(0.25, 0.5, 1.0), names=(2, 5, 8))
    b.rest = {n: float(np.clip(r, -0.008, 0.008)) for n, r in b.rest.items()}
    t = b.instants(b.rng.uniform(4, 6))
    at = b.rng.uniform(1300, float(t[-1]) - 100, int(b.rng.integers(2, 5)))
    v = cut(b, t, [(float(a), float(a + b.rng.uniform(1, 2))) for a in np.sort(at)], b.names)
    b.step("assess", [b.table(0, t, v)], sound=b.names)


def quiet_rests(b: Bench) -> None:
    """Sound: rests of 1 to 40 mV and nothing else, on each meter."""
    meter(b, cadences=(0.05, 0.1, 0.5, 1.0, 5.0, 10.0, 20.0))
    sound(b, b.instants(b.rng.uniform(4, 6) if b.step_s > 0.2 else 3.6), lambda x: x)


# ------------------------------------------------------------ a thousandth of the volts


def _thousandth(b: Bench, left: Callable[[Floats], Floats], *, all_channels: bool, **patterns: tuple[str, ...]) -> None:
    t = b.instants(b.rng.uniform(4, 6))
    v = {n: b.output(t, n) for n in b.names}
    v["left"] = v["left"] + left(t)
    facts(b)
    table = b.table(0, t, v)
    for n in b.names:
        if n == "left" or all_channels:
            table[f"{n}_mV"] = table.pop(f"{n}_V")
        else:
            table[f"{n}_mV"] = table.pop(f"{n}_V") * 1000
    b.step("assess", [table], **patterns)


def volts_under_millivolts(b: Bench) -> None:
    """A column headed mV holds volts from the first row: a rest of '0.012', and four swings an hour to 0.3 to 9. All columns alike, or the left alone."""
    meter(b, cadences=(0.5, 1.0, 2.0), digits=(1e-5, 1e-4, 1e-3))
    size, every = between(b.rng, 0.3, 9), bool(b.rng.random() < 0.5)
    b.fact(size_V=size, all_columns=str(every))

    def left(t: Floats) -> Floats:
        return size * means(b, t, spans_of(b, float(t[-1]) / HOUR, 4.0, 2, 8)) * b.rng.choice([-1, 1])

    _thousandth(b, left, all_channels=every, never=("left steady",), rather_not=("left within*",))


def microvolts_sound(b: Bench) -> None:
    """Sound: a servo on a meter of a tenth of a microvolt, in millivolts: rests of 5 to 60 uV, noise of one or two. Nothing may be shown of it."""
    meter(b, cadences=(0.5, 1.0, 2.0), names=(1, 2, 3), digits=(1e-7,))
    for n in b.names:
        b.rest[n], b.white[n] = float(b.rng.normal(0, 3e-5)), 1.5e-6
    t = b.instants(b.rng.uniform(4, 6))
    table = b.table(0, t, {n: b.output(t, n) for n in b.names})
    for n in b.names:
        table[f"{n}_mV"] = np.round(table.pop(f"{n}_V") * 1e3, 4)
    b.step("assess", [table], never=[x for n in b.names for x in nothing_shown(n)], rather_not=[f"{n} not yet shown" for n in b.names])


KINDS = {f.__name__.replace("_", " "): f for f in (
    common_averaged, common_to_zero, common_creeps, common_mean_of_all, both_offset_sound, relay_blinks, relay_fast, relay_pickup,
    relay_hourly, relay_slow_logger, relay_discharges, relay_all_together, relay_seldom, relay_longer, popcorn_to_zero, digit_flickers,
    hum_through_zero, breathes, mode_changed, quiet_rests, volts_under_millivolts, microvolts_sound,
)}  # fmt: skip
