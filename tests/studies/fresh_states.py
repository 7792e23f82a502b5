"""What the lead was looking at, and faults of a live output that look like it. All data are invented.

`state_log(kind, seed)` makes one to three channels of 20 minutes to three days at 0.1 to 10 s, with digits of 10 µV to
1 mV, by instants or by means over a mains cycle. Each channel carries its stretches: what it was, from when to when,
and whether the lead saw a live output. Time outside the stretches is live. Physics: an open lead of high impedance
picks up the mains field and its harmonics, railway and telephone frequencies, folded by the cadence, and floats
slowly by the input's bias current; a meter of 10 megohm that averages whole cycles reads next to nothing there; a
clip on the chassis reads the drop along it; a sleeping stage is a divider of leakages.

    python tests/studies/fresh_states.py --seed 1 --n 3
"""

from __future__ import annotations

import sys
from collections import Counter
from dataclasses import dataclass

import numpy as np
from fresh_parts import EPOCH, BenchLog, Floats, Truth, runner, slow_noise, table, telegraph, times
from numpy.typing import NDArray


@dataclass(frozen=True)
class Stretch:
    """What a channel's lead saw, from when to when."""

    what: str
    live: bool
    from_s: float
    to_s: float


@dataclass(frozen=True)
class StateLog:
    """A log and the stretches of each channel."""

    log: BenchLog
    stretches: dict[str, tuple[Stretch, ...]]

    def live(self, name: str) -> NDArray[np.bool_]:
        """Tell for each reading of a channel whether it is of a live output."""
        t = self.log.time_s
        out = np.ones(t.size, bool)
        for s in self.stretches[name]:
            if not s.live:
                out[(t >= s.from_s) & (t < s.to_s)] = False
        return out


class Bench:
    """One channel on the bench: instants, the live output, and how the meter takes what it sees."""

    def __init__(self, rng: np.random.Generator, t: Floats, averages: bool, plan: np.random.Generator):
        self.rng, self.t, self.averages, self.plan = rng, t, averages, plan
        self.length = float(t[-1])
        self.cadence = float(np.median(np.diff(t)))
        self.level = float(rng.normal(0, 7e-3))
        self.white = float(np.exp(rng.uniform(np.log(5e-5), np.log(8e-4))))
        self.v = self.level + slow_noise(rng, t, rng.uniform(5e-5, 3e-4)) + self.noise(self.white)
        self.v += rng.normal(0, 5e-3) * np.exp(-t / rng.uniform(60, 400))
        self.found: list[Stretch] = []
        self.keep = np.ones(t.size, bool)

    def noise(self, sigma: float) -> Floats:
        """Give white noise at every reading."""
        return sigma * self.rng.standard_normal(self.t.size)

    def where(self, what: str, live: bool, start: float, end: float) -> NDArray[np.bool_]:
        """Note a stretch and tell its readings."""
        end = min(end, self.length + self.cadence)
        self.found.append(Stretch(what, live, start, end))
        return (self.t >= start) & (self.t < end)

    def some(self, low: float = 0.05, high: float = 0.4) -> tuple[float, float]:
        """Choose a stretch of this share of the log, alike for channels that share a cause; often to the end, or from
        the first reading on."""
        share = self.plan.uniform(low, high)
        start = self.plan.uniform(0.15, 0.95 - share) * self.length
        chance = self.plan.random()
        if chance < 0.15:
            return 0.0, share * self.length
        return (start, self.length + 1) if chance < 0.4 else (start, start + share * self.length)

    def pickup(self) -> Floats:
        """Give what an open lead picks up, folded by the cadence, with the mains' own wander and a slow float."""
        rng, t = self.rng, self.t
        mains = float(self.plan.choice([50.0, 60.0]))
        wander = 0.02 * np.sin(2 * np.pi * t / rng.uniform(100, 900) + rng.uniform(0, 6)) + rng.normal(0, 0.01)
        size = float(np.exp(rng.uniform(np.log(1e-3), np.log(8e-2))))
        if self.averages:
            size *= 10 ** -rng.uniform(1.0, 2.5)  # rejection of whole cycles
        turns = 2 * np.pi * np.cumsum((mains + wander) * np.diff(t, prepend=0.0))
        out = size * np.sin(turns + rng.uniform(0, 6))
        for order, share in ((2, 0.1), (3, 0.35), (5, 0.15)):
            out += share * size * np.sin(order * turns + rng.uniform(0, 6))
        for f in (16.7, 217.0, 100_000 / 3):
            if rng.random() < 0.25:
                out += 0.2 * size * np.sin(2 * np.pi * (f % (1 / self.cadence)) * t + rng.uniform(0, 6))
        breathing = np.exp(slow_noise(rng, t, 0.25))  # people and cables move
        drift = rng.choice([0.05, 0.3, 1.0]) * size if rng.random() < 0.7 else rng.uniform(1e-3, 2e-2)
        return out * breathing + slow_noise(rng, t, drift) + self.noise(rng.uniform(2e-5, 2e-4))

    def nothing(self) -> Floats:
        """Give a dead input: a digit of offset and the meter's own noise."""
        return self.rng.normal(0, 1e-4) + self.noise(self.rng.uniform(5e-6, 8e-5))


# ---------------------------------------------------------------- what is not the amplifier


def lead_off_fast(b: Bench) -> None:
    """The lead is pulled off at once; often clipped on again."""
    m = b.where("open lead", False, *b.some())
    b.v[m] = b.pickup()[m]


def lead_off_slowly(b: Bench) -> None:
    """The clip slides off over half a minute to three, makes and breaks, then hangs in the air."""
    start, end = b.some()
    slide = b.plan.uniform(30, 180)
    loose = (b.t >= start - slide) & (b.t < start) & telegraph(b.rng, b.t, 3, 6)
    b.v[loose] = b.pickup()[loose]
    m = b.where("open lead", False, start, end)
    b.v[m] = b.pickup()[m]


def lead_off_partly(b: Bench) -> None:
    """A corroded clip: some kilohms of contact, so that hum and level mix, then open in spells of a minute to ten."""
    start, end = b.some(0.1, 0.3)
    at = start
    while at < min(end, b.length):
        spell = b.plan.uniform(60, 600)
        m = b.where("open lead", False, at, min(at + spell, end))
        b.v[m] = b.pickup()[m]
        at += spell + b.plan.uniform(30, 400)


def clip_on_chassis(b: Bench) -> None:
    """The croc clip sits on the chassis: tenths of a millivolt of drop, and ripple of earth currents."""
    m = b.where("on chassis", False, *b.some())
    hum = b.rng.uniform(0, 2e-4) * np.sin(2 * np.pi * (100 % (1 / b.cadence)) * b.t)
    b.v[m] = (b.nothing() + b.rng.normal(0, 2e-4) + hum)[m]


def auto_off_rows_stop(b: Bench) -> None:
    """The meter switches itself off: no rows until somebody presses the key."""
    start, end = b.some()
    b.keep &= ~b.where("meter off", False, start, end)


def auto_off_blank(b: Bench) -> None:
    """The same, and the program goes on with blank cells."""
    b.v[b.where("meter off", False, *b.some())] = np.nan


def auto_off_repeats(b: Bench) -> None:
    """The same, and the program goes on with the last value it had."""
    m = b.where("value held", False, *b.some())
    if m.any():
        b.v[m] = b.v[m][0]


def held_spells(b: Bench) -> None:
    """The link stalls now and then: the last value stands for half a minute to ten."""
    for _ in range(int(b.plan.integers(2, 7))):
        start = b.plan.uniform(0.05, 0.9) * b.length
        m = b.where("value held", False, start, start + b.plan.uniform(30, 600))
        if m.any():
            b.v[m] = b.v[m][0]


def ac_range(b: Bench) -> None:
    """Somebody turns the knob to alternating volts: small, never negative, hardly moving."""
    m = b.where("alternating range", False, *b.some(0.2, 0.6))
    b.v[m] = (b.rng.uniform(1e-4, 4e-3) + np.abs(slow_noise(b.rng, b.t, 1e-4)) + np.abs(b.noise(5e-5)))[m]


def speakers_switched_off(b: Bench) -> None:
    """The speaker relay is opened and closed by hand; with a load the lead then sees nothing, without one the field."""
    loaded = b.plan.random() < 0.5
    for _ in range(int(b.plan.integers(1, 5))):
        start = b.plan.uniform(0.05, 0.9) * b.length
        m = b.where("relay open", False, start, start + b.plan.uniform(20, max(60, 0.1 * b.length)))
        b.v[m] = (b.nothing() if loaded else b.pickup())[m]


def _switch(b: Bench, off: float, on: float, relay_s: float) -> None:
    """Switch off and on: the output dies over seconds, nothing, the relay's wait, then settling."""
    m = b.where("off", False, off, on)
    level = float(np.median(b.v[(b.t >= off - 60) & (b.t < off)])) if (b.t < off).any() else 0.0
    thump = b.rng.normal(0, 0.05)
    b.v[m] = (b.nothing() + (level + thump * np.sin((b.t - off) / 2)) * np.exp(-np.maximum(b.t - off, 0) / 3.0))[m]
    wait = b.where("before the relay", False, on, on + relay_s)
    b.v[wait] = b.nothing()[wait]
    warm = b.t >= on + relay_s
    age = np.maximum(b.t - on - relay_s, 0)
    b.v[warm] += (b.rng.normal(0, 0.04) * np.exp(-age / 1.5) + b.rng.normal(0, 8e-3) * np.exp(-age / 120))[warm]


def timer_nights(b: Bench) -> None:
    """A timer switches the unit off at night (in a short log: for a tenth of the time)."""
    day = 86400.0 if b.length > 86400 else b.length / 2.2
    first = b.plan.uniform(0.3, 0.6) * day
    night = day * (0.35 if day == 86400.0 else 0.1)
    for k in range(int((b.length - first) / day) + 1):
        _switch(b, first + k * day, first + k * day + night, b.plan.uniform(2, 6))


def sleeps(b: Bench) -> None:
    """A class-D stage goes to sleep after a silence and wakes by itself: high impedance, a leak of under a millivolt."""
    at = b.plan.uniform(900, 1300)
    while at < b.length:
        nap = b.plan.uniform(0.1, 0.3) * b.length
        m = b.where("asleep", False, at, at + nap)
        b.v[m] = (b.nothing() + b.rng.normal(0, 3e-4))[m]
        at += nap + b.plan.uniform(900, 1300)


def open_all_day(b: Bench) -> None:
    """The lead was never on: the field only, from the first reading to the last."""
    b.v = b.pickup()
    b.where("open lead", False, 0.0, b.length + 1)


def open_before_relay(b: Bench) -> None:
    """Speaker side without a load: the field for 2 to 6 s until the output relay closes, a surge, then the output."""
    close = b.plan.uniform(2, 6)
    m = b.where("before the relay", False, 0.0, close)
    age = np.maximum(b.t - close, 0)
    b.v += np.clip(b.rng.normal(0, 0.04), -0.1, 0.1) * np.exp(-age / b.rng.uniform(0.1, 1.2))
    b.v[m] = b.pickup()[m]


# ---------------------------------------------------------------- live faults that look like it


def slow_bounce(b: Bench) -> None:
    """A servo that lost its damping bounces about zero at 0.03 to 0.4 Hz, amplitude and phase wandering."""
    m = b.where("fault: slow bounce", True, *b.some(0.2, 0.6))
    f = np.exp(b.rng.uniform(np.log(0.03), np.log(0.4)))
    size = np.exp(b.rng.uniform(np.log(4e-3), np.log(0.1)))
    wave = size * np.exp(slow_noise(b.rng, b.t, 0.3)) * np.sin(2 * np.pi * f * b.t + slow_noise(b.rng, b.t, 1.5))
    b.v[m] = (wave + b.noise(b.white))[m]


def popcorn_through_zero(b: Bench) -> None:
    """Popcorn of the input pair: two or three levels about zero, dwells of a second to two minutes."""
    m = b.where("fault: popcorn", True, *b.some(0.2, 0.6))
    size, dwell = np.exp(b.rng.uniform(np.log(4e-3), np.log(0.06))), np.exp(b.rng.uniform(np.log(1), np.log(120)))
    first, second = telegraph(b.rng, b.t, dwell, dwell), telegraph(b.rng, b.t, dwell * 3, dwell * 5)
    b.v[m] = (size * (first - 0.5) + 0.4 * size * second + b.noise(b.white))[m]


def hunting(b: Bench) -> None:
    """A bias loop hunts: a limit cycle of triangles and plateaus, 8 to 200 s, from some to 200 mV."""
    m = b.where("fault: hunting", True, *b.some(0.2, 0.7))
    period, size = np.exp(b.rng.uniform(np.log(8), np.log(200))), np.exp(b.rng.uniform(np.log(6e-3), np.log(0.2)))
    phase = b.t / period + slow_noise(b.rng, b.t, 0.15)
    tri = 2 * np.abs(2 * (phase % 1.0) - 1) - 1
    b.v[m] = (size * np.clip(1.5 * tri, -1, 1) + b.rng.normal(0, 2e-3) + b.noise(b.white))[m]


def falls_quiet(b: Bench) -> None:
    """A rumbling junction heals for a while: the noise falls to a tenth and the level goes near zero; still live."""
    b.v += b.noise(b.rng.uniform(1e-3, 6e-3))
    m = b.where("fault: quiet spell", True, *b.some(0.1, 0.5))
    b.v[m] = (b.rng.normal(0, 1e-3) + slow_noise(b.rng, b.t, 1e-4) + b.noise(b.rng.uniform(5e-5, 2e-4)))[m]


def one_sided_wander(b: Bench) -> None:
    """A leaking capacitor: the level wanders on one side of zero only and comes back to it again and again."""
    m = b.where("fault: wander", True, *b.some(0.3, 0.7))
    size = b.rng.choice([-1, 1]) * np.exp(b.rng.uniform(np.log(5e-3), np.log(0.15)))
    b.v[m] = (size * np.abs(slow_noise(b.rng, b.t, 1.0)) + b.noise(b.white))[m]


def shorts_to_ground(b: Bench) -> None:
    """A strand of wire shorts the output to ground in many spells of a second to a minute: the fault looked for."""
    m = b.where("fault: short", True, *b.some(0.2, 0.6))
    down = m & telegraph(b.rng, b.t, np.exp(b.rng.uniform(0, np.log(60))), b.rng.uniform(5, 120))
    b.v[down] = b.nothing()[down]


def noise_spells(b: Bench) -> None:
    """A zener rumbles in spells of half a minute to ten: noise about zero of 3 to 40 mV, now white, now slow."""
    at = b.plan.uniform(60, 600)
    while at < b.length:
        spell = b.plan.uniform(30, 600)
        m = b.where("fault: noise", True, at, at + spell)
        size = np.exp(b.rng.uniform(np.log(3e-3), np.log(0.04)))
        b.v[m] = (size * (b.rng.standard_normal(b.t.size) + slow_noise(b.rng, b.t * 10, 0.7)) / 1.2)[m]
        at += spell + b.plan.uniform(0.02, 0.2) * b.length


def mute_of_input(b: Bench) -> None:
    """Mute shorts the input, the output stage stays live: a step of a millivolt or two and less noise. Sound."""
    m = b.where("muted, live", True, *b.some())
    b.v[m] = (b.level + b.rng.normal(0, 1.5e-3) + slow_noise(b.rng, b.t, 5e-5) + b.noise(b.white * 0.5))[m]


def only_sound(b: Bench) -> None:
    """Nothing at all happens."""


DEAD = {
    f.__name__: f
    for f in (
        lead_off_fast, lead_off_slowly, lead_off_partly, clip_on_chassis, auto_off_rows_stop, auto_off_blank,
        auto_off_repeats, held_spells, ac_range, speakers_switched_off, timer_nights, sleeps, open_all_day,
        open_before_relay,
    )
}  # fmt: skip
LIVE = {
    f.__name__: f
    for f in (
        slow_bounce, popcorn_through_zero, hunting, falls_quiet, one_sided_wander, shorts_to_ground, noise_spells,
        mute_of_input, only_sound,
    )
}  # fmt: skip
WHOLE_UNIT = {"timer_nights", "sleeps", "open_before_relay", "auto_off_rows_stop", "speakers_switched_off"}


def state_log(kind: str, seed: int) -> StateLog:
    """Make a log of a kind of `DEAD` or `LIVE`. Invented."""
    rng = np.random.default_rng([seed, 5, sum(map(ord, kind))])
    length = float(np.exp(rng.uniform(np.log(1200), np.log(3 * 86400))))
    if kind in ("timer_nights", "sleeps"):
        length = max(length, 2 * 3600.0)
    if kind == "open_before_relay":
        length = min(length, 6 * 3600.0)
    cadences = [c for c in (0.1, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0) if 400 < length / c < 130_000]
    if kind == "open_before_relay":
        cadences = [c for c in cadences if c <= 1.0]
    t = times(rng, length, float(rng.choice(cadences)))
    digit, averages = float(rng.choice([1e-5, 1e-4, 1e-4, 1e-3])), bool(rng.random() < 0.5)
    names = ("left", "right", "centre")[: int(rng.choice([1, 2, 2, 3]))]
    hit = set(names) if kind in WHOLE_UNIT or rng.random() < 0.3 else {str(rng.choice(names))}
    plan = int(rng.integers(1 << 31))
    volts, stretches, keep = {}, {}, np.ones(t.size, bool)
    for name in names:
        b = Bench(np.random.default_rng(rng.integers(1 << 31)), t, averages, np.random.default_rng(plan))
        if name in hit:
            {**DEAD, **LIVE}[kind](b)
            keep &= b.keep
        volts[name] = np.round(b.v / digit) * digit
        stretches[name] = tuple(b.found)
    first = min((s.from_s for f in stretches.values() for s in f), default=0.0)
    last = max((s.to_s for f in stretches.values() for s in f), default=0.0)
    words = f"{t[-1] / 3600:.1f} h at {np.median(np.diff(t)):g} s, digit {digit:g} V, {'means' if averages else 'instants'}"
    sound = kind in DEAD or kind in ("mute_of_input", "only_sound")
    truth = Truth(kind, sound, False, tuple(n for n in names if n in hit), first, last, 0.0, words)
    readings = {n: v[keep] for n, v in volts.items()}
    return StateLog(BenchLog(t[keep], readings, truth, words, readings), stretches)


@dataclass(frozen=True)
class Score:
    """One channel: seconds live and dead, how many of each were left out, what the dead stretches were, which were
    found (four fifths of them left out), and excursions counted in the first minute."""

    live_s: float
    live_out_s: float
    dead_s: float
    dead_out_s: float
    stretches: tuple[str, ...]
    found: tuple[str, ...]
    early: int
    said: str


def judge(made: StateLog) -> dict[str, Score]:
    """Run the whole program and score each channel; the surge after power-up is no statement about the lead."""
    from flicker import assess, read_log

    (given,) = made.log.files()
    result = assess(read_log(given))
    t = made.log.time_s
    step = np.minimum(np.diff(t, append=2 * t[-1] - t[-2]), 60.0)
    starts = [float((np.datetime64(str(r.start)) - EPOCH) / np.timedelta64(1, "s")) for r in result.runs]
    out = {}
    for c in result.channels:
        left_out = np.zeros(t.size, bool)
        for gap in c.gaps:
            if str(gap["reason"]) == "power-up surge":
                continue
            shift = starts[int(gap["run"])]
            left_out |= (t >= gap["start_s"] + shift - 1e-6) & (t < gap["end_s"] + shift - 1e-6)
        live = made.live(c.channel)
        blank = np.isnan(made.log.readings_V[c.channel])
        left_out |= blank
        dead = [s for s in made.stretches[c.channel] if not s.live and np.any((t >= s.from_s) & (t < s.to_s))]
        found = []
        for s in dead:
            inside = (t >= s.from_s) & (t < s.to_s)
            if step[inside & left_out].sum() >= 0.8 * step[inside].sum():
                found.append(s.what)
        words = f"{str(c.fitness).replace(' for the time observed', '')}, {c.verdict}"
        out[c.channel] = Score(
            float(step[live].sum()), float(step[live & left_out].sum()), float(step[~live].sum()),
            float(step[~live & left_out].sum()), tuple(s.what for s in dead), tuple(found),
            sum(e.run == 0 and e.start_s < 60 for e in c.excursions), words,
        )  # fmt: skip
    return out


def main() -> None:
    """Print, kind by kind, what was left out that should not be, and what was not that should."""
    args = runner(__doc__ or "")
    rows, worst = [], []
    for kind in (*DEAD, *LIVE):
        if args.only not in kind:
            continue
        live_share, said, hurt, channels, dead, dead_out, early = [], Counter[str](), 0, 0, 0.0, 0.0, 0
        stretches, found = Counter[str](), Counter[str]()
        for i in range(args.n):
            made = state_log(kind, args.seed * 1000 + i)
            try:
                scores = judge(made)
            except ValueError as error:
                said[f"refused: {str(error)[:70]}"] += 1
                continue
            for name, s in scores.items():
                if name not in made.log.truth.channels and kind not in ("only_sound",):
                    continue
                channels += 1
                said[s.said] += 1
                dead, dead_out, early = dead + s.dead_s, dead_out + s.dead_out_s, early + (s.early > 0)
                stretches.update(s.stretches)
                found.update(s.found)
                if s.live_s:
                    live_share.append(s.live_out_s / s.live_s)
                    if s.live_out_s > 30 and s.live_out_s > 0.02 * s.live_s:
                        hurt += 1
                        worst.append(f"{kind} seed {args.seed * 1000 + i} {name}: {s.live_out_s:.0f} of {s.live_s:.0f} live seconds left out ({made.log.meter})")
        rows.append((
            kind, channels, f"{100 * np.mean(live_share or [0]):.1f} %", hurt,
            f"{100 * dead_out / dead:.0f} %" if dead else "", ", ".join(f"{k}: {found[k]} of {n}" for k, n in stretches.items()), early,
            "; ".join(f"{k} {n}" for k, n in said.most_common()),
        ))  # fmt: skip
        print(*rows[-1], sep=" | ", file=sys.stderr, flush=True)
    print(table(("kind", "channels", "live time left out", "channels hurt", "dead time left out", "dead stretches found", "channels with an excursion in minute 1", "said"), rows))
    print("\n".join(worst))


if __name__ == "__main__":
    main()
