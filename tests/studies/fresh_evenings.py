"""Whole jobs as a bench lives them, each with what the commands must and must never say. All data are invented.

Pairs before and after a repair, visits over weeks, soaks, a watch fed in handfuls of rows, a folder with a broken
file, a plan. Written by somebody who has not read how the program decides. A job is a folder of CSV files and steps:
a command line, patterns of statements never allowed (wrong whatever the statistics; tests of 5 % may err once in
twenty stories) and patterns of which each must come (so plain that a technician would say them). A statement is what
the JSON document says, as in ``left outcome improved``. The rate of a fault is constant unless the kind says otherwise.

    python tests/studies/fresh_evenings.py --seed 1 --n 2
    python tests/studies/fresh_evenings.py --only "pair cured" --job 1001
"""

from __future__ import annotations

import os
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
from fresh_evening_parts import HOUR, Unit, crackle, holds, stands, statements
from fresh_parts import EPOCH, Floats, runner, table

PROMISED_S = 10.0  # the watch alarms 'at once' on 0.75 V or more that lasts: invented, ten seconds and three readings
DAY = np.timedelta64(86400, "s")


# ------------------------------------------------------------ pairs before and after


def pair(u: Unit, a: Sequence[str], b: Sequence[str], never: Sequence[str] = (), must: Sequence[str] = ()) -> None:
    """Compare the evenings; nothing may ever be shown of channels in which nothing was done and nothing happened."""
    others = [f"{n} outcome {w}" for n in u.names[1:] for w in ("improved", "worse")]
    u.step("compare", "--before", *a, "--after", *b, never=(*never, *others), must=must)


def pair_cured(u: Unit) -> None:
    """Twelve and more swings an hour, gone after the repair; three evenings each."""
    f = {"left": crackle(u.rng, u.rng.uniform(12, 25))}
    a, b = [u.evening(d, u.rng.uniform(1.5, 3), f) for d in (0, 1, 2)], [u.evening(d, u.rng.uniform(1.5, 3)) for d in (7, 8, 9)]
    pair(u, a, b, never=("left outcome worse", "left cured no"), must=("left outcome improved",))


def pair_one_each(u: Unit) -> None:
    """One power-up each, nothing done; evenings differ by a half by themselves."""
    a, b = (u.evening(d, u.rng.uniform(1, 3), {"left": crackle(u.rng, 6 * u.rng.gamma(4, 0.25), 0.2, 3)}) for d in (0, 7))
    pair(u, [a], [b], never=("left outcome improved", "left outcome worse", "left cured shown"))


def pair_half(u: Unit) -> None:
    """Twenty swings an hour, eight after the repair: no cure, no worse, and no loudspeaker yet."""
    a, b = ([u.evening(d + k, 2.5, {"left": crackle(u.rng, r, 0.25, 3)}) for k in (0, 1, 2)] for d, r in ((0, 20.0), (7, 8.0)))
    pair(u, a, b, never=("left outcome worse", "left cured shown", "left cured not yet", "left after within*"))


def pair_worse(u: Unit) -> None:
    """Three an hour before, thirty after: the repair has shaken something loose."""
    a, b = ([u.evening(d + k, 2.5, {"left": crackle(u.rng, r, 0.25, 3)}) for k in (0, 1, 2)] for d, r in ((0, 3.0), (7, 30.0)))
    pair(u, a, b, never=("left outcome improved", "left cured shown", "left cured not yet"), must=("left outcome worse",))


def pair_other_fault(u: Unit) -> None:
    """The swings are gone, but the repair brought a level of 0.12 to 3 V, or a slope, in the same channel."""
    f = {"left": crackle(u.rng, u.rng.uniform(12, 25))}
    size = float(np.exp(u.rng.uniform(np.log(0.12), np.log(3))))
    new = {"left": stands(size, u.rng.choice([0.0, 0.4])) if u.rng.random() < 0.6 else lambda t: size * t / t[-1]}
    a, b = [u.evening(d, 2, f) for d in (0, 1, 2)], [u.evening(d, 2.5, new) for d in (7, 8, 9)]
    pair(u, a, b, never=("left cured shown", "left after within*", "left after steady"))
    u.step("assess", *b, never=("left within*", "left steady"), must=("left do not connect",) if size > 2 else ())


def pair_neighbour(u: Unit) -> None:
    """The left channel is cured, and the right one swings since: a screw was left loose."""
    u.two()
    f, g = {"left": crackle(u.rng, 15, 0.25, 3)}, {"right": crackle(u.rng, 20, 0.25, 3)}
    a, b = [u.evening(d, 2, f) for d in (0, 1, 2)], [u.evening(d, 2, g) for d in (7, 8, 9)]
    never = ["left outcome worse", "right outcome improved", "right after within*"]
    never += [f"{n} outcome {w}" for n in u.names[2:] for w in ("improved", "worse")]
    u.step("compare", "--before", *a, "--after", *b, never=never, must=("left outcome improved", "right outcome worse"))


def pair_room(u: Unit) -> None:
    """Nothing done, another season: ten kelvin more, and twice the noise of the room's dimmer; with a fault or none."""
    f = {"left": crackle(u.rng, 6, 0.25, 3)} if u.rng.random() < 0.5 else None
    a = [u.evening(d, 2.5, f) for d in (0, 1, 2)]
    b = [u.evening(d, 2.5, f, kelvin=10, extra=u.rng.uniform(2e-4, 6e-4)) for d in (100, 101, 102)]
    pair(u, a, b, never=("left outcome improved", "left outcome worse", "left cured shown"))


def pair_lengths(u: Unit) -> None:
    """Nothing done, long evenings before and half an hour after, or the other way round."""
    f = {"left": crackle(u.rng, 4, 0.25, 3)}
    first, then = ((3.0, 3.0, 3.0), (u.rng.uniform(0.3, 0.7),))[:: 1 if u.rng.random() < 0.6 else -1]
    a, b = [u.evening(d, h, f) for d, h in enumerate(first)], [u.evening(9 + d, h, f) for d, h in enumerate(then)]
    pair(u, a, b, never=("left outcome improved", "left outcome worse", "left cured shown", "left after within*"))


def pair_slower_logger(u: Unit) -> None:
    """Nothing done, but another logger: a tenth of the readings, so that it misses most of the short glitches."""
    f = {"left": crackle(u.rng, 25, 0.3, 1.0)}
    a, b = [u.evening(d, 1.5, f, per_s=2.0) for d in (0, 1, 2)], []
    slow = {"left": lambda t: np.where(u.rng.random(t.size) < 25 / HOUR, 0.3, 0.0)}  # a glitch of a second lies on a reading
    b = [u.evening(d, 1.5, slow, per_s=0.2) for d in (7, 8, 9)]
    pair(u, a, b, never=("left outcome improved", "left outcome worse", "left cured shown"))


def pair_coarser_meter(u: Unit) -> None:
    """Nothing done, but another meter: a digit of a millivolt and three times the noise, well within limits."""
    f = {"left": crackle(u.rng, 6, 0.25, 3)} if u.rng.random() < 0.5 else None
    u.digit = min(u.digit, 1e-4)
    a = [u.evening(d, 2.5, f) for d in (0, 1, 2)]
    u.digit = 1e-3
    b = [u.evening(d, 2.5, f, extra=8e-4) for d in (7, 8, 9)]
    pair(u, a, b, never=("left outcome improved", "left outcome worse", "left cured shown"))


def pair_fridge(u: Unit) -> None:
    """A fridge on the same mains kicked all channels at once; it is unplugged now, and nothing else was done."""
    u.two()
    a = []
    for d in (0, 1, 2):
        seed = int(u.rng.integers(1 << 31))
        kicks = {n: crackle(np.random.default_rng(seed), 6, 0.12, 3) for n in u.names}  # one seed: all at once
        a.append(u.evening(d, 2.5, kicks))
    pair(u, a, [u.evening(d, 2.5) for d in (7, 8, 9)], never=("left cured shown", "left outcome worse"))


def pair_leads_turned(u: Unit) -> None:
    """Nothing done, but the leads are turned: every sign reversed."""
    f = {"left": crackle(u.rng, 6, 0.25, 3)}
    a, b = [u.evening(d, 2.5, f) for d in (0, 1, 2)], [u.evening(d, 2.5, f, sign=-1) for d in (7, 8, 9)]
    pair(u, a, b, never=("left outcome improved", "left outcome worse", "left cured shown"))


def pair_warm(u: Unit) -> None:
    """A fault of the first quarter of an hour; nothing done, but afterwards the unit was warm before the log began."""
    f = {"left": crackle(u.rng, 30, 0.25, 3, until_s=900.0)}
    a, b = [u.evening(d, 1, f) for d in (0, 1, 2, 3)], [u.evening(d, 3, warm=True) for d in (7, 8)]
    pair(u, a, b, never=("left outcome worse", "left cured shown"))


def pair_clean_soak(u: Unit) -> None:
    """Six an hour before; after the repair more than forty clean hours in four power-ups: more than the page asks for."""
    u.per_s = min(u.per_s, 0.5)
    a = [u.evening(d, 3, {"left": crackle(u.rng, 8, 0.25, 5)}) for d in (0, 1, 2)]
    b = [u.evening(d, u.rng.uniform(11, 13)) for d in (7, 8, 9, 10)]
    pair(u, a, b, never=("left outcome worse", "left cured no"), must=("left outcome improved", "left cured shown", "left after within*"))


# ------------------------------------------------------------ visits, single logs, soaks, plans


def visit_story(u: Unit, rates: Sequence[float], never: Sequence[str], must: Sequence[str] = (), levels: Sequence[float] = (), *,
                hours: Sequence[float] = (), per_s: Sequence[float] = (), until_s: float = np.inf, length_s: float = 3.0) -> None:  # fmt: skip
    """Log two power-ups at each visit, some weeks apart, with these rates of swings as the logger sees them."""
    line, day, rest = ["visits"], 0.0, u.rest["left"]
    for k, rate in enumerate(rates):
        u.rest["left"] = levels[k] if levels else rest
        f = {"left": crackle(u.rng, rate, 0.25, length_s, until_s)} if rate else None
        u.per_s = per_s[k] if per_s else u.per_s
        names = [u.evening(day + j, hours[k] if hours else u.rng.uniform(1, 2), f) for j in (0, 1)]
        line += ["--visit", str((EPOCH + int(day) * DAY).astype("datetime64[D]")), *names]
        day += float(u.rng.integers(16, 60))
    others = [f"{n} {what} {w}" for n in u.names[1:] for what in ("rate", "size") for w in ("worse", "better")]
    u.step(*line, never=(*never, *others, "* settled level yes", "* noise yes") if not levels else (*never, *others), must=must)


def visits_growing(u: Unit) -> None:
    """Two an hour, then twice to two and a half times as many at each visit."""
    factor = u.rng.uniform(2, 2.5)
    visit_story(u, [2 * factor**k for k in range(4)], ("left rate better", "left last within*"), ("left rate worse",))


def visits_scattered(u: Unit) -> None:
    """Constant but scattered: visits differ by half of their rate."""
    visit_story(u, list(6 * u.rng.gamma(4, 0.25, int(u.rng.integers(3, 7)))), ("left rate better", "left rate worse", "left size worse", "left size better"))


def visits_one_bad(u: Unit) -> None:
    """Two an hour and one evening's visit with ten times as many, not the last one."""
    rates = [2.0] * 5
    rates[int(u.rng.integers(1, 4))] = 20.0
    visit_story(u, rates, ("left rate worse", "left rate better", "left size worse"))


def visits_repaired(u: Unit) -> None:
    """It grew over three visits, then a part was changed and it is gone for three more."""
    visit_story(u, [3.0, 6.0, 12.0, 0.0, 0.0, 0.0], ("left rate worse", "left size worse"))


def visits_longer(u: Unit) -> None:
    """A constant rate, but each visit is logged longer than the one before, or shorter."""
    hours = [0.6, 1.0, 2.0, 3.5][:: int(u.rng.choice([-1, 1]))]
    visit_story(u, [5.0] * 4, ("left rate worse", "left rate better", "left size worse"), hours=hours)


def visits_cold_fault(u: Unit) -> None:
    """A fault of the first quarter of an hour, the same at each visit; the visits get shorter, so it fills more of them."""
    visit_story(u, [24.0] * 4, ("left rate worse", "left rate better"), hours=[3.5, 2.0, 1.0, 0.5], until_s=900.0)


def visits_faster_logger(u: Unit) -> None:
    """A constant rate of glitches of a second; from the third visit on a faster logger sees all, not one in five."""
    visit_story(u, [5.0, 5.0, 25.0, 25.0], ("left rate worse", "left rate better"), per_s=[0.2, 0.2, 2.0, 2.0], length_s=1.0)


def visits_level_grows(u: Unit) -> None:
    """No swings, but the rest moves from some millivolts to a tenth of a volt."""
    levels = [4e-3, 0.015, 0.04, 0.1]
    visit_story(u, [0.0] * 4, ("left last within*", "left rate worse"), ("left settled level yes",), levels)


def assess_constant(u: Unit) -> None:
    """A constant rate of swings over three to five power-ups: noisy, and nothing grows."""
    logs = [u.evening(d, u.rng.uniform(1, 2.5), {"left": crackle(u.rng, 9, 0.25, 3)}) for d in range(int(u.rng.integers(3, 6)))]
    u.step("assess", *logs, never=("left degrading", "left within*", "left steady", "left worse with age yes"), must=("left noisy",))


def assess_cold_fault(u: Unit) -> None:
    """A fault of the first quarter of an hour, the same after each switch-on; the power-ups get shorter. Nothing ages."""
    logs = [u.evening(d, h, {"left": crackle(u.rng, 30, 0.25, 3, until_s=900.0)}) for d, h in enumerate((4, 3, 2, 1, 0.5))]
    u.step("assess", *logs, never=("left degrading", "left within*", "left steady", "left worse with age yes"), must=("left noisy",))


def assess_growing(u: Unit) -> None:
    """Five power-ups, each with twice the swings of the one before."""
    logs = [u.evening(d, 2, {"left": crackle(u.rng, 2.0 * 2**d, 0.25, 3)}) for d in range(5)]
    u.step("assess", *logs, never=("left within*", "left steady"), must=("left degrading",))


def soak_clean(u: Unit) -> None:
    """A soak of 12 to 40 hours over one to three power-ups that stays clean."""
    u.per_s = float(u.rng.choice([0.2, 0.5, 1.0]))
    k = int(u.rng.integers(1, 4))
    logs = [u.evening(2 * d, u.rng.uniform(12, 40) / k) for d in range(k)]
    u.step("assess", *logs, never=("* do not connect", "* noisy", "* degrading", "* drifting", "* one-off"), must=[f"{n} within*" for n in u.names])


def soak_hidden(u: Unit) -> None:
    """The same, but in its last tenth the left channel takes a level of 0.15 to 5 V and keeps it."""
    u.per_s = float(u.rng.choice([0.2, 0.5, 1.0]))
    size = float(np.exp(u.rng.uniform(np.log(0.15), np.log(5))))
    log = u.evening(0, u.rng.uniform(12, 40), {"left": stands(size, u.rng.uniform(0.9, 0.985))})
    u.step("assess", log, never=("left within*", "left steady"), must=("left do not connect",) if size > 1 else ())


def assess_one_swing(u: Unit) -> None:
    """One swing in six hours: seen, and neither recurring nor gone."""
    size, at = u.rng.uniform(0.1, 0.5), u.rng.uniform(0.5, 5) * HOUR
    log = u.evening(0, 6, {"left": lambda t: np.where((t >= at) & (t < at + max(4.0, 2 / u.per_s)), size, 0.0)})
    u.step("assess", log, never=("left within*", "left steady", "left noisy", "left degrading", "left intermittent yes"), must=("left one-off",))


def plan(u: Unit) -> None:
    """Plan a soak from three evenings of a constant rate: its hours must hold what they promise, and twice over."""
    rate = u.rng.uniform(2, 10)
    logs = [u.evening(d, 2, {"left": crackle(u.rng, rate, 0.25, 3)}) for d in (0, 1, 2)]
    u.step("soak", "--from", *logs, "--channel", "left", never=(f"hours under {2.3 / rate:.3f}",), must=(f"hours under {40 / rate:.3f}",))
    u.step("soak", "--max-rate", "0.25", never=("hours under 11.98", "hours over 12.1"))


def folder(u: Unit) -> None:
    """A folder with a sound log, a swinging one, one at 3 V and one that is no log: each row for itself."""
    sound, bad, high = u.evening(0, 4), u.evening(1, 4, {"left": crackle(u.rng, 10)}), u.evening(2, 4, {"left": stands(3.0)})
    junk = u.rng.choice(["", "<html><body>not found</body></html>", "time,left [V]\n", "PK\x03\x04 half of a zip", "time;left [V]\nx;y\n" * 50])
    (u.folder / "broken.csv").write_text(str(junk), encoding="utf-8")
    short = [Path(x).name for x in (sound, bad, high)]
    never = (f"{short[1]} left within*", f"{short[2]} left within*", f"{short[2]} left not yet shown", "broken.csv * ?*", "exit *2")
    u.step("survey", str(u.folder), "--out", str(u.folder / "table.csv"), "--workers", "1", never=never,
           must=(f"{short[0]} left within*", f"{short[2]} left do not connect", "broken.csv error", "exit 0"))  # fmt: skip


def watched(u: Unit) -> None:
    """Watch row by row; in half of the stories a level or pulses of 0.9 to 40 V come at a random time: alarm at once."""
    rng = u.rng
    per_s = float(rng.choice([0.2, 0.5, 1.0, 2.0, 10.0, 50.0]))
    hours = float(min(rng.uniform(3.9, 6), 30_000 / per_s / HOUR))
    at, size = float(rng.uniform(60, hours * HOUR * 0.9)), float(rng.choice([-1, 1]) * np.exp(rng.uniform(np.log(0.9), np.log(40))))
    form = str(rng.choice(["sound", "stands", "climbs", "pulses", *["held"] * (u.digit < 5e-5)]))
    shapes: dict[str, Callable[[Floats], Floats]] = {
        "sound": lambda t: np.zeros(t.size),
        "held": lambda t: np.zeros(t.size),
        "stands": lambda t: np.where(t >= at, size, 0.0),
        "climbs": lambda t: np.clip(size * (t - at) / rng.uniform(30, 600), -abs(size), abs(size)) * (t >= at),
        "pulses": lambda t: np.where((t >= at) & ((t - at) % 8.0 < max(1.0, 1.6 / per_s)), size, 0.0),
    }
    log = u.evening(0, hours, {"left": shapes[form]}, per_s=per_s)
    assert u.rows is not None
    t, volts = u.rows
    if form == "held":  # the link is dead and the program writes its last value: no digit moves that moved at each reading
        volts["left"][t >= at] = volts["left"][t >= at][0]
        at += 900 - PROMISED_S
    over = t[np.abs(shapes[form](t)) > 0.8] if form not in ("climbs", "held") else t[t > at + 650 * (form == "climbs")]
    first = float(over[0]) if over.size else -1.0
    must = () if first < 0 or first > t[-1] - 60 else (f"alarm by {first + PROMISED_S + 3 / per_s:.1f}",)
    never = ("alarm *", "left recurs") if form == "sound" else ("left clean enough late", "alarm early") if first > 0 and form != "held" else ()
    u.step("watch", log, str(per_s), f"{at if form != 'sound' else np.inf}", never=never, must=must)
    u.step("assess", log, never=("left within*", "left steady") if must and form != "held" else ())


KINDS: dict[str, Callable[[Unit], None]] = {
    f.__name__.replace("_", " "): f
    for f in (
        pair_cured, pair_one_each, pair_half, pair_worse, pair_other_fault, pair_neighbour, pair_room, pair_lengths, pair_slower_logger,
        pair_coarser_meter, pair_fridge,
        pair_leads_turned, pair_warm, pair_clean_soak, visits_growing, visits_scattered, visits_one_bad, visits_repaired,
        visits_longer, visits_cold_fault, visits_faster_logger, visits_level_grows, assess_constant, assess_cold_fault, assess_growing, assess_one_swing, soak_clean, soak_hidden, plan, folder, watched,
    )
}  # fmt: skip


def job(kind: str, seed: int, folder: Path) -> Unit:
    """Make the files and steps of a job in a folder. Invented."""
    rng = np.random.default_rng([seed, 13, sum(map(ord, kind))])
    u = Unit(rng, folder, per_s=float(rng.choice([0.2, 0.5, 1.0, 2.0, 5.0])))
    KINDS[kind](u)
    return u


def main() -> None:
    """Print, kind by kind, what was said that must never be, and what was missed."""
    args = runner(__doc__ or "", (("job", -1),))
    os.environ["COLUMNS"] = "100"
    rows, worst = [], []
    for kind in KINDS:
        if args.only not in kind:
            continue
        wrong = missed = steps = 0
        heard: Counter[str] = Counter()
        for seed in [args.job] if args.job >= 0 else [args.seed * 1000 + i for i in range(args.n)]:
            with tempfile.TemporaryDirectory() as place:
                made = job(kind, seed, Path(place))
                about = f"--only {kind!r} --job {seed} ({', '.join(made.names)}; {made.per_s:g}/s, digit {made.digit:g} V)"
                for step in made.steps:
                    said = statements(step, made.rows)
                    bad = [f"{x} [never: {p}]" for p in step.never if (x := holds(p, said))]
                    gap = [p for p in step.must if not holds(p, said)]
                    steps, wrong, missed = steps + 1, wrong + len(bad), missed + len(gap)
                    heard.update(x for x in said if x.startswith("left ") and x.split()[1] in ("outcome", "cured", "rate", "last", "within", "do", "not"))
                    if bad:
                        worst.append(f"NEVER ALLOWED: {step.line[0]} {about}: {'; '.join(bad)}")
                    if gap or said[:1] == ["exit 2"]:
                        heard_instead = [x for x in said if " no" not in x or "outcome" in x or "refused" in x][:14]
                        worst.append(f"MISSED: {step.line[0]} {about}: {'; '.join(gap)}; said {'; '.join(heard_instead)}")
        rows.append((kind, steps, wrong, missed, "; ".join(f"{k} {n}" for k, n in heard.most_common(6))))
        print(*rows[-1], sep=" | ", file=sys.stderr, flush=True)
    print(table(("job", "commands", "never allowed, said", "obvious, missed", "said of the left channel"), rows))
    print("\n".join(worst))


if __name__ == "__main__":
    main()
