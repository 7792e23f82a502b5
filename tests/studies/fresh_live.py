"""Three to sixty hours in which the lead saw a live output only part of the time, and sound outputs that look like it.

All data are invented, by somebody who has not read how the program decides. Most logs of a lead that was not on a live
output hold fewer than 2.6 live hours, the rest more than 3.6: clearing the first kind is wrong, however clean they
look. A quarter carry a danger in the live part besides. Physics: a sleeping stage is a divider of leakages; ten megohm
behind flux or oxide divide; a meter that averages whole cycles reads microvolts of the field on an open lead; both
clips on one terminal read the meter's zero and the warmth of the clips; a chassis clip sees drops of earth currents.

    python tests/studies/fresh_live.py --seed 1 --n 2
    python tests/studies/fresh_live.py --only asleep --log 1001
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from fresh_dangers import refuses
from fresh_parts import BenchLog, Floats, Truth, runner, slow_noise, table, telegraph, times
from fresh_states import Score, StateLog, Stretch, judge
from numpy.typing import NDArray

Mask = NDArray[np.bool_]
HOUR = 3600.0
LIVE_H = 3.0  # live hours past minute 20 below which nothing may be cleared
MINUTE_20_S = 1200.0


def between(rng: np.random.Generator, low: float, high: float) -> float:
    """Draw log-uniformly."""
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


@dataclass
class Scene:
    """One channel: instants, its live volts, whether its meter averages, and the dead spells that channels share."""

    rng: np.random.Generator
    plan: np.random.Generator
    t: Floats
    dead: tuple[tuple[float, float], ...]
    averages: bool
    live: Floats = field(init=False)
    seen: Floats = field(init=False)
    stretches: list[Stretch] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Draw the live output: a switch-on surge, some minutes of settling, slow and white noise."""
        rng, t = self.rng, self.t
        self.rest = float(rng.choice([-1, 1]) * rng.uniform(2.5e-3, 0.012))
        self.white = between(rng, 6e-5, 5e-4)
        self.live = self.rest + slow_noise(rng, t, rng.uniform(5e-5, 2e-4)) + self.noise(self.white)
        self.live += self.surge(t, 0.0)
        self.seen = self.live

    def surge(self, t: Floats, at: float) -> Floats:
        """Give the bump and the settling after a switch-on at this moment."""
        age = np.maximum(t - at, 0)
        bump = np.clip(self.rng.normal(0, 0.05), -0.09, 0.09) * np.exp(-age / self.rng.uniform(0.4, 2.5))
        return np.where(t >= at, bump + self.rng.normal(0, 4e-3) * np.exp(-age / self.rng.uniform(60, 400)), 0.0)

    def noise(self, sigma: float) -> Floats:
        """Give white noise at every reading."""
        return sigma * self.rng.standard_normal(self.t.size)

    def hum(self, size_V: float, mains_Hz: float = 50.0) -> Floats:
        """Give mains hum at the instants of the readings, its frequency wandering as the grid does."""
        grid = mains_Hz + self.rng.normal(0, 0.01) + 0.02 * np.sin(2 * np.pi * self.t / self.rng.uniform(200, 3000))
        if self.averages:
            size_V /= between(self.rng, 20, 500)
        return size_V * np.sin(2 * np.pi * np.cumsum(grid * np.diff(self.t, prepend=0.0)) + self.rng.uniform(0, 6))

    def zero(self) -> Floats:
        """Give what a meter reads of nothing: its zero, that wanders with its own warmth, and its noise."""
        return self.rng.normal(0, 4e-5) + slow_noise(self.rng, self.t, 6e-6) + self.noise(between(self.rng, 3e-6, 6e-5))

    def put(self, what: str, volts: Floats, fade_s: float = 0.0) -> None:
        """Let the lead see these volts in the dead spells; the live ones die away with this time constant."""
        out = self.seen.copy()
        for start, end in self.dead:
            inside = (self.t >= start) & (self.t < end)
            self.stretches.append(Stretch(what, False, start, end))
            left = np.exp(-(self.t[inside] - start) / fade_s) if fade_s else 0.0
            out[inside] = volts[inside] + left * (self.live[inside] - volts[inside])
        self.seen = out


# ------------------------------------------------------------ the lead does not see a live output


def asleep(s: Scene) -> None:
    """Auto standby after a silence: the stage lets go, a divider of leakages is left, a half to a five-hundredth."""
    share = 1 / between(s.plan, 2, 500)
    s.put(f"asleep, 1/{1 / share:.0f}", s.live * share + s.zero() + s.rng.normal(0, 1e-4), between(s.plan, 0.05, 40))


def muted_slowly(s: Scene) -> None:
    """A mute relay whose coil lets go over seconds, its contact resistive for a while, grounds the socket."""
    s.put("muted", s.zero() + s.live * between(s.rng, 1e-4, 3e-3), between(s.plan, 0.5, 60))


def alternating_volts(s: Scene) -> None:
    """The knob stands on AC volts: rectified ripple, never below zero, in digits of its own."""
    ripple = between(s.rng, 5e-5, 2e-3)
    volts = np.abs(ripple + slow_noise(s.rng, s.t, ripple / 15) + s.noise(ripple / 30))
    digit = s.rng.choice([1e-4, 1e-3])
    s.put("AC volts", np.round(volts / digit) * digit)


def coarse_range(s: Scene) -> None:
    """Somebody left the meter in a higher range: steps of 20 mV to 1 V, so it reads nought and a last digit."""
    digit = float(s.plan.choice([0.02, 0.1, 1.0]))
    s.put("coarse range", np.round((s.live + s.rng.normal(0, 0.2 * digit)) / digit) * digit)


def chassis_clip(s: Scene) -> None:
    """The hot clip sits on the chassis: the drop of earth currents, a little hum, the fridge's compressor in it."""
    fridge = between(s.rng, 1e-5, 3e-4) * (((s.t + s.rng.uniform(0, 3000)) % 3000) < 1100)
    s.put("on chassis", s.zero() + s.rng.normal(0, 1.5e-4) + fridge + s.hum(between(s.rng, 1e-5, 3e-4)))


def other_ground(s: Scene) -> None:
    """The hot clip sits on the other channel's ground: a share of its current, so its noise a thousandfold smaller."""
    s.put("other channel's ground", s.zero() + between(s.rng, 1e-3, 2e-2) * s.live + s.hum(between(s.rng, 1e-5, 1e-4)))


def through_flux(s: Scene) -> None:
    """The tip rests on flux or oxide: megohms in series that wander, against the meter's ten; the field comes in."""
    series = between(s.rng, 3, 300) * np.exp(slow_noise(s.rng, s.t, 0.5))
    s.put("through flux", s.live * 10 / (10 + series) + s.hum(between(s.rng, 1e-4, 2e-3)) + s.zero(), between(s.plan, 1, 200))


def lead_off_averaging(s: Scene) -> None:
    """The lead fell off a ten megohm meter that averages whole cycles: micro- to millivolts, and a bias that floats."""
    s.averages = True
    size = between(s.rng, 5e-6, 2e-3)
    s.put("lead off", s.zero() + slow_noise(s.rng, s.t, size) + s.hum(between(s.rng, 1e-3, 5e-2)), between(s.plan, 0.3, 20))


def same_terminal(s: Scene) -> None:
    """Both clips on one terminal: the meter's zero and some microvolts of the clips' warmth."""
    warmth = s.rng.uniform(1e-6, 1e-5) * np.sin(2 * np.pi * s.t / s.rng.uniform(1500, 9000))
    s.put("both clips on one terminal", s.zero() + warmth)


def timer_off(s: Scene) -> None:
    """A timer switches the unit off and on: the supply runs down over seconds to minutes, each start has its surge."""
    s.put("off", s.zero() + s.rest / between(s.rng, 50, 5000), between(s.plan, 1, 60))
    for _, end in s.dead:
        s.seen = s.seen + s.surge(s.t, end) * (s.t >= end)


def fuse_blown(s: Scene) -> None:
    """The mains fuse goes: the rails run down unalike, the offset makes a hump of some millivolts, then nothing."""
    start = s.dead[0][0]
    age = np.maximum(s.t - start, 0) / between(s.plan, 2, 40)
    s.put("fuse blown", s.zero() + s.rng.normal(0, 0.015) * age * np.exp(1 - age), between(s.plan, 1, 20))


def jack_switched(s: Scene) -> None:
    """Someone plugs headphones in: the jack lifts the speaker socket, a bleeder pulls it down, crosstalk stays."""
    s.put("headphones plugged in", s.zero() + s.live * between(s.rng, 3e-4, 1e-2) + s.hum(between(s.rng, 3e-5, 5e-4)))


# ------------------------------------------------------------ sound live outputs that look like it


def servo_at_zero(s: Scene) -> None:
    """A servo holds the output within 0.2 mV of zero, all the time."""
    s.seen = s.surge(s.t, 0.0) * np.exp(-s.t / 20) + s.rng.uniform(-2e-4, 2e-4) + slow_noise(s.rng, s.t, 2e-5) + s.noise(between(s.rng, 2e-5, 2e-4))


def coupled_output(s: Scene) -> None:
    """A capacitor in series: a thump of half a volt for some seconds, then its leak, that forms back over hours."""
    leak = s.rng.uniform(1e-4, 2e-3) * np.exp(-s.t / s.rng.uniform(1800, 14400))
    s.seen = s.rng.uniform(0.1, 0.6) * np.exp(-s.t / s.rng.uniform(0.3, 0.8)) + leak + s.noise(between(s.rng, 1e-5, 1e-4))


def room_falls_quiet(s: Scene) -> None:
    """A dimmer on the same mains till midnight, a fridge every three quarters of an hour: noise a tenth without them."""
    dimmer = (s.t > s.rng.uniform(0, 0.3) * s.t[-1]) & (s.t < s.rng.uniform(0.4, 0.9) * s.t[-1])
    fridge = ((s.t + s.rng.uniform(0, 2700)) % s.rng.uniform(2100, 3600)) < s.rng.uniform(500, 1200)
    s.seen = s.live + s.noise(between(s.rng, 3e-4, 1.2e-3)) * dimmer + s.noise(between(s.rng, 1e-4, 6e-4)) * fridge


def ripple_day_night(s: Scene) -> None:
    """Ripple that follows the mains voltage: by day a third of what it is by night, or the other way round."""
    day = 1 + 0.8 * np.sin(2 * np.pi * (s.t / 86400 + s.rng.uniform(0, 1)))
    s.averages = False
    s.seen = s.live + s.hum(between(s.rng, 2e-4, 9e-4), 100.0) * day


def hum_beats(s: Scene) -> None:
    """Hum that beats with the cadence: for minutes it stands still at a millivolt, then it runs, then cancels."""
    size, slow = between(s.rng, 3e-4, 1.5e-3), 1 / between(s.rng, 200, 4000)
    wander = np.cumsum(slow_noise(s.rng, s.t, slow) * np.diff(s.t, prepend=0.0))
    s.seen = s.live + size * (np.sin(2 * np.pi * (slow * s.t + wander)) + np.sin(2 * np.pi * (1.03 * slow * s.t + wander)))


def bias_settles(s: Scene) -> None:
    """Bias that settles to nearly zero over an hour, and the output gets quieter with it by a factor of three to ten."""
    fade = np.exp(-s.t / s.rng.uniform(600, 1200))
    level = s.rng.choice([-1, 1]) * s.rng.uniform(8e-3, 0.025) * fade + s.rng.uniform(-4e-4, 4e-4)
    quiet = between(s.rng, 4e-5, 1.5e-4)
    s.seen = level + s.surge(s.t, 0.0) * fade + s.noise(quiet) * (1 + s.rng.uniform(2, 9) * fade) + slow_noise(s.rng, s.t, quiet / 3)


def tube_output(s: Scene) -> None:
    """An output transformer: no direct voltage at all, residues of hum that die as the tubes warm, hiss of microvolts."""
    s.averages = bool(s.plan.random() < 0.5)
    warm = 1 + 3 * np.exp(-s.t / s.rng.uniform(30, 200))
    s.seen = s.rng.normal(0, 5e-5) + s.hum(between(s.rng, 2e-4, 2e-3), 100.0) * warm + s.noise(between(s.rng, 1e-5, 8e-5))


# ------------------------------------------------------------ live faults that visit zero or fall quiet


def drifts_through_zero(s: Scene) -> None:
    """An output that wanders from one side to the other over hours, and rests at nothing on its way."""
    size, period = s.rng.uniform(0.03, 0.2), s.rng.uniform(1.5, 8) * HOUR
    s.seen = s.live - s.rest + size * np.sin(2 * np.pi * s.t / period + s.rng.uniform(0, 6)) ** 3


def loud_when_warm(s: Scene) -> None:
    """A junction that rumbles while the room's heating has it warm, and is silent near zero in between."""
    warm = ((s.t + s.rng.uniform(0, 4000)) % s.rng.uniform(2400, 5400)) < 1300
    rumble = between(s.rng, 5e-3, 4e-2) * (slow_noise(s.rng, s.t * 20, 1.0) + 0.5 * s.rng.standard_normal(s.t.size))
    s.seen = s.rng.uniform(-3e-4, 3e-4) + s.noise(between(s.rng, 3e-5, 1e-4)) + rumble * warm


def spikes_then_silence(s: Scene) -> None:
    """Trains of spikes of 60 to 400 mV for minutes, then an hour or three of a servo's silence at zero."""
    on = telegraph(s.rng, s.t, s.rng.uniform(120, 900), s.rng.uniform(0.7, 3) * HOUR)
    hit = on & telegraph(s.rng, s.t, s.rng.uniform(1, 6), s.rng.uniform(15, 60))
    s.seen = s.rng.uniform(-2e-4, 2e-4) + s.noise(between(s.rng, 2e-5, 1e-4)) + s.rng.uniform(0.06, 0.4) * hit


def comes_back_in_steps(s: Scene) -> None:
    """Offset of some 80 mV that is gone after an hour, lies at nothing for hours, and comes back in steps."""
    size, back = s.rng.choice([-1, 1]) * s.rng.uniform(0.06, 0.3), s.rng.uniform(0.5, 0.8) * s.t[-1]
    stairs = np.clip(np.floor((s.t - back) / (0.06 * s.t[-1])) + 1, 0, 4) / 4
    s.seen = size * (np.exp(-s.t / s.rng.uniform(700, 1800)) + stairs) + s.noise(between(s.rng, 3e-5, 2e-4))


def sags_with_the_mains(s: Scene) -> None:
    """A regulator that lets go when the mains sags in the evening: the level jumps to zero and back, live all along."""
    evening = (s.t > s.rng.uniform(0.2, 0.5) * s.t[-1]) & (s.t < s.rng.uniform(0.6, 0.95) * s.t[-1])
    down = evening & telegraph(s.rng, s.t, s.rng.uniform(60, 1500), s.rng.uniform(200, 1500))
    level = s.rng.choice([-1, 1]) * s.rng.uniform(0.02, 0.15)
    s.seen = s.live - s.rest + np.where(down, s.rng.uniform(-5e-4, 5e-4), level)


NOT_LIVE: dict[str, Callable[[Scene], None]] = {
    f.__name__: f
    for f in (
        asleep, muted_slowly, alternating_volts, coarse_range, chassis_clip, other_ground, through_flux, lead_off_averaging,
        same_terminal, timer_off, fuse_blown, jack_switched,
    )
}  # fmt: skip
LOOK_ALIKE: dict[str, Callable[[Scene], None]] = {
    f.__name__: f
    for f in (servo_at_zero, coupled_output, room_falls_quiet, ripple_day_night, hum_beats, bias_settles, tube_output)
}
FAULTS: dict[str, Callable[[Scene], None]] = {
    f.__name__: f for f in (drifts_through_zero, loud_when_warm, spikes_then_silence, comes_back_in_steps, sags_with_the_mains)
}
KINDS = {**NOT_LIVE, **LOOK_ALIKE, **FAULTS}
WHOLE_UNIT = {"asleep", "muted_slowly", "timer_off", "fuse_blown", "room_falls_quiet", "ripple_day_night"}


def spells(plan: np.random.Generator, live_s: float, dead_s: float) -> tuple[tuple[float, float], ...]:
    """Lay one to five dead spells between live ones; two logs in five end dead, one in ten begins so."""
    n = int(plan.integers(1, 6))
    dead, live = plan.dirichlet(np.full(n, 2.0)) * dead_s, plan.dirichlet(np.full(n + 1, 2.0)) * live_s
    if plan.random() < 0.4:
        live[-2], live[-1] = live[-2] + live[-1], 0.0
    if plan.random() < 0.1:
        live[1], live[0] = live[0] + live[1], 0.0
    starts = np.cumsum(live[:-1]) + np.concatenate([[0.0], np.cumsum(dead)[:-1]])
    return tuple((float(a), float(a + b)) for a, b in zip(starts, dead, strict=True))


def danger(s: Scene, alive: Mask) -> Floats:
    """Give a danger for the live part: a level that lifts within ten minutes and stays, or twelve to thirty swings."""
    where = s.t[alive & (s.t > 300)]
    if where.size < 50:
        return np.zeros(s.t.size)
    size = s.rng.choice([-1, 1]) * s.rng.uniform(0.16, 0.7)
    at = float(where[int(s.rng.uniform(0.1, 0.7) * where.size)])
    if s.rng.random() < 0.5:
        return np.asarray(size * np.clip((s.t - at) / 600, 0, 1), float)
    step = float(np.median(np.diff(s.t)))
    out = np.zeros(s.t.size)
    for start in s.rng.choice(where, int(s.rng.integers(15, 40))):
        out[(s.t >= start) & (s.t < start + max(s.rng.uniform(2, 8), 2.5 * step))] = size
    return out


def live_log(kind: str, seed: int) -> tuple[StateLog, dict[str, tuple[float, bool]]]:
    """Make a log of a kind; for each channel of it tell the live hours past minute 20 and if a danger is beyond doubt."""
    rng = np.random.default_rng([seed, 11, sum(map(ord, kind))])
    dead_kind = kind in NOT_LIVE
    live_h = rng.uniform(0.6, 2.5) if rng.random() < 0.75 else between(rng, 4.2, 20)
    if dead_kind:
        dead_h = between(rng, max(1.0, 3.2 - live_h), 60 - live_h)
    else:
        live_h, dead_h = between(rng, 4.2, 60), 0.0
    length = (live_h + dead_h) * HOUR
    cadences = [c for c in (0.5, 1.0, 2.0, 5.0, 10.0, 20.0) if 1500 < length / c < 45_000]
    t = times(rng, length, float(rng.choice(cadences)))
    digit, averages = float(rng.choice([1e-5, 1e-4, 1e-4])), bool(rng.random() < 0.5)
    names = ("left", "right", "sub")[: int(rng.choice([1, 2, 2, 3]))]
    hit = names if kind in WHOLE_UNIT or rng.random() < 0.3 else (str(rng.choice(names)),)
    plan_seed, with_danger = int(rng.integers(1 << 31)), dead_kind and rng.random() < 0.25
    dead = spells(np.random.default_rng(plan_seed), live_h * HOUR, dead_h * HOUR) if dead_kind else ()
    if kind == "fuse_blown":  # for good; and not at once, for a log without a live reading is like one of a coupled output
        dead = ((max(dead[0][0], 600.0), length + 1),)
    volts, stretches, facts = {}, {}, {}
    for name in names:
        s = Scene(np.random.default_rng(rng.integers(1 << 31)), np.random.default_rng(plan_seed + 1), t, dead, averages)
        if name in hit:
            alive = np.ones(t.size, bool)
            for a, b in dead:
                alive[(t >= a) & (t < b)] = False
            if with_danger:
                s.live = s.live + danger(s, alive)
                s.seen = s.live
            KINDS[kind](s)
            step = np.diff(t, append=2 * t[-1] - t[-2])
            doubt = with_danger and alive.sum() >= 50 and refuses(t[alive], s.live[alive], t[alive])
            facts[name] = (float(step[alive & (t >= MINUTE_20_S)].sum() / HOUR), bool(doubt))
        volts[name] = np.round(s.seen / digit) * digit
        stretches[name] = tuple(s.stretches)
    words = f"{t[-1] / HOUR:.1f} h at {np.median(np.diff(t)):g} s, digit {digit:g} V, {'means' if averages else 'instants'}"
    truth = Truth(kind, kind not in FAULTS, with_danger, hit, 0.0, float(t[-1]), 0.0, words)
    return StateLog(BenchLog(t, volts, truth, words, volts), stretches), facts


def hurt(s: Score) -> bool:
    """Tell whether more than 2 % and half a minute of the live time were left out."""
    return s.live_out_s > 30 and s.live_out_s > 0.02 * s.live_s


def main() -> None:
    """Print, kind by kind, what was wrongly cleared, what of the live time was lost, and which sound ones cleared."""
    args = runner(__doc__ or "", (("log", -1),))
    rows, worst = [], []
    for kind in KINDS:
        if args.only not in kind:
            continue
        said: Counter[str] = Counter()
        channels = wrong = may = cleared = harmed = 0
        live = lost = dead = out = 0.0
        for seed in [args.log] if args.log >= 0 else [args.seed * 1000 + i for i in range(args.n)]:
            made, facts = live_log(kind, seed)
            try:
                scores = judge(made)
            except ValueError as error:
                said[f"refused: {str(error)[:70]}"] += 1
                continue
            for name, (hours, doubt) in facts.items():
                s = scores[name]
                ok = s.said.startswith("within")
                bad = (ok and hours < LIVE_H) or ((ok or s.said.endswith("steady")) and (doubt or kind in FAULTS))
                eligible = hours >= LIVE_H and not doubt and kind not in FAULTS
                channels, wrong, may, cleared = channels + 1, wrong + bad, may + eligible, cleared + (ok and eligible)
                live, lost, dead, out = live + s.live_s, lost + s.live_out_s, dead + s.dead_s, out + s.dead_out_s
                harmed += hurt(s)
                said[s.said] += 1
                what = ["WRONGLY CLEARED"] * bad + ["live time lost"] * hurt(s) + ["sound, not cleared"] * (eligible and not ok and kind in LOOK_ALIKE)
                if what:
                    worst.append(
                        f"{', '.join(what)}: --only {kind} --log {seed}, {name}: {hours:.1f} live h past minute 20, {s.said}; "
                        f"{s.live_out_s:.0f} of {s.live_s:.0f} live s and {s.dead_out_s:.0f} of {s.dead_s:.0f} dead s left out"
                        f"{', danger' if doubt else ''}; {len(s.stretches)} dead: {', '.join(sorted(set(s.stretches)))} ({made.log.meter})"
                    )
        family = "not live" if kind in NOT_LIVE else "live fault" if kind in FAULTS else "sound look-alike"
        rows.append((
            family, kind, channels, wrong, f"{cleared} of {may}", f"{100 * lost / live if live else 0:.1f} %", harmed,
            f"{100 * out / dead:.0f} %" if dead else "", "; ".join(f"{k} {n}" for k, n in said.most_common()),
        ))  # fmt: skip
        print(*rows[-1], sep=" | ", file=sys.stderr, flush=True)
    head = ("family", "kind", "channels", "wrongly cleared", "cleared of those that may be", "live time lost", "channels hurt", "dead time left out", "said")
    print(table(head, rows))
    print("\n".join(worst))


if __name__ == "__main__":
    main()
