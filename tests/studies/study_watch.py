"""Does the watch keep its errors however often one looks, and what does it cost beside Wald's test?

Run by hand: python tests/studies/study_watch.py. Writes results/watch.md. All units are invented.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from flicker.base.limits import Limits
from flicker.evidence.watch.followed import Bursts
from flicker.evidence.watch.watcher import Watcher
from flicker.evidence.watch.watching import CLEAN, RECURS, design
from flicker.logs.growing import Fresh
from flicker.simulate import simulate_log
from flicker.stats.sequential import likelihood_ratio_pair, rate_decision

N = 2000
HERE = Path(__file__).parent


def watched(rng, rule, rate, *, burst=1.0, gap_h=20 / 3600, widen=True):
    """Hours and word of one soak; the evidence moves up only at an episode and down steadily, so every sample is looked at."""
    t = count = 0.0
    bursts = Bursts()
    phi = rule.dispersion
    queue: list[float] = []
    while True:
        if not queue:
            begin = t + rng.exponential(burst / rate)
            size = int(rng.geometric(1.0 / burst))
            queue = (begin + np.concatenate(([0.0], np.cumsum(rng.exponential(gap_h, size - 1))))).tolist()
            queue = [x for k, x in enumerate(queue) if k == 0 or x - queue[k - 1] > 10 / 3600]
        nxt = queue.pop(0)
        step = np.log(rule.bad_rate / rule.good_rate)
        crossing = (count * step - phi * rule.log_lower) / (rule.bad_rate - rule.good_rate)
        if crossing <= nxt:
            return crossing, CLEAN
        t, count = nxt, count + 1
        if widen:
            bursts.add(t * 3600.0)
            phi = max(rule.dispersion, bursts.dispersion(t * 3600.0))
        value = (count * step - (rule.bad_rate - rule.good_rate) * t) / phi
        if value >= rule.log_upper and count >= rule.least_count:
            return t, RECURS


def scatter(rng, burst):
    """Variance over mean of counts in long windows, E m^2 / E m of the merged size of a burst."""
    size = 1 + rng.binomial(rng.geometric(1.0 / burst, 100_000) - 1, np.exp(-0.5))
    return float(np.mean(size**2) / np.mean(size))


def not_seen() -> list[str]:
    """False alarms 'not seen' where readings are lost one by one, and false swings where a run goes on over a power-up."""
    out = ["", "## Readings lost at random, and runs that go on", ""]
    for share in (1e-3, 3e-3, 1e-2):
        rung = 0
        for seed in range(10):
            rng = np.random.default_rng(500 + seed)
            columns = [0.004 + np.round(rng.normal(0, 3e-4, 7200), 5) for _ in range(2)]
            for column in columns:
                column[rng.random(7200) < share] = np.nan
            watcher = Watcher(("left", "right"), cadence_s=1.0)
            for k in range(0, 7200, 300):
                parts = tuple(column[k : k + 300] for column in columns)
                rung += sum(e.kind == "not seen" for e in watcher.feed(Fresh(0, np.arange(k, k + 300) * 1.0, parts, k == 0)))
        out.append(f"- {share:.1%} of readings lost, ten watches of 2 h, two outputs, one reading a second: {rung} alarms 'not seen'.")
    found = 0
    for seed in range(40):
        watcher = None
        for run in range(3):
            bench = simulate_log("steady", hours=0.2, rate_hz=2.0, seed=91000 + 10 * seed + run)
            watcher = watcher or Watcher(bench.channels, cadence_s=0.5)
            time_s = bench.time_s()
            for k in range(0, time_s.size, 60):
                parts = tuple(bench.values(name)[k : k + 60] for name in bench.channels)
                watcher.feed(Fresh(run, time_s[k : k + 60], parts, k == 0, goes_on=run > 0 and k == 0))
        watcher.finish()
        found += sum(state.episodes + state.common_episodes for state in watcher.states())
    out.append(f"- 40 watches over three sound power-ups each, told as going on without a pause: {found} false swings.")
    return out


def after_clean(many: int = 20_000) -> list[str]:
    """After 'clean enough' the test begins anew, each time with less of the error: how often it says 'recurs' at the good rate."""
    rng = np.random.default_rng(20_261_127)
    out = ["", "## After 'clean enough'", "", f"{many} watches a row at the good rate of 0.01 per hour; the error is 5 % over all channels.", ""]
    out += ["| channels | hours watched | recurs before 'clean enough' | taken back later |", "|---|---|---|---|"]
    for channels in (1, 2, 8):
        rule = design([f"{k}" for k in range(channels)], Limits())[1]
        for hours in (24.0, 100.0, 300.0):
            found = [_taken_back(np.sort(rng.uniform(0.0, hours, rng.poisson(0.01 * hours))), hours, rule) for _ in range(many)]
            out.append(f"| {channels} | {hours:g} | {found.count('first') / many:.2%} | {found.count('later') / many:.2%} |")
            print(out[-1], flush=True)
    return out


def _taken_back(events, hours, rule) -> str:
    """When the watch says 'recurs': in its first test, later, or never."""
    begun_h, counted, tests = 0.0, 0, 0
    step = np.log(rule.bad_rate / rule.good_rate)
    for number, now in enumerate([*events, hours]):
        clean_h = begun_h + ((number - counted) * step - rule.log_lower) / (rule.bad_rate - rule.good_rate)
        while clean_h <= now:
            begun_h, counted, tests = clean_h, number, tests + 1
            clean_h = begun_h - rule.log_lower / (rule.bad_rate - rule.good_rate)
        harder = np.log(tests * (tests + 1)) if tests else 0.0
        if now < hours and replace(rule, log_upper=rule.log_upper + harder).decide(number + 1 - counted, now - begun_h) == RECURS:
            return "later" if tests else "first"
    return "never"


def main() -> None:
    rng = np.random.default_rng(20_260_307)
    out = [
        "# The watch: errors and hours",
        "",
        f"Written by `tests/studies/study_watch.py`, seed 20260307; {N} simulated soaks a row, looked at every sample; all",
        "units invented. Error 5 % each way. Monte Carlo error 0.5 points.",
        "",
        "| good, bad rate per hour | true rate | wrong decisions | mean hours | Wald's mean hours (two episodes at least) | ratio |",
        "|---|---|---|---|---|---|",
    ]
    for good, bad in ((0.01, 1.0), (0.1, 1.0), (0.5, 2.0), (0.25, 0.5)):
        pair = likelihood_ratio_pair(good, bad, least_count=2)
        wald = rate_decision(good, bad, least_count=2)
        for rate, wrong in ((good, RECURS), (bad, CLEAN)):
            ours = [watched(rng, pair, rate) for _ in range(N)]
            theirs = [watched(rng, wald, rate, widen=False) for _ in range(N)]
            a, b = np.mean([h for h, _ in ours]), np.mean([h for h, _ in theirs])
            out.append(
                f"| {good:g}, {bad:g} | {rate:g} | {np.mean([w == wrong for _, w in ours]):.1%} | {a:.2f} | {b:.2f} "
                f"| {a / b:.2f} |"
            )
            print(out[-1], flush=True)
    out += [
        "",
        "## Bursts",
        "",
        "Gaps of 20 s on the mean inside a burst, dead time 10 s; the rate counts episodes after merging, so that a row is",
        "wrong where the true rate of episodes is that of the design.",
        "",
        "| good, bad | true rate of episodes | bursts of | widened by what is seen | not widened | told before (--bursts) |",
        "|---|---|---|---|---|---|",
    ]
    for good, bad in ((0.1, 1.0), (0.5, 2.0)):
        pair = likelihood_ratio_pair(good, bad, least_count=2)
        for burst in (2.0, 3.0):
            for rate, wrong in ((good, RECURS), (bad, CLEAN)):
                # after merging a burst of m events holds 1 + (m - 1) exp(-10 / 20) episodes on the mean
                scale = (1 + (burst - 1) * np.exp(-0.5)) / burst
                share = [
                    np.mean([watched(rng, pair, rate / scale, burst=burst, widen=w)[1] == wrong for _ in range(N)])
                    for w in (True, False)
                ]
                wide = likelihood_ratio_pair(good, bad, least_count=2, dispersion=scatter(rng, burst))
                told = np.mean([watched(rng, wide, rate / scale, burst=burst)[1] == wrong for _ in range(N)])
                out.append(
                    f"| {good:g}, {bad:g} | {rate:g} | {burst:g} | {share[0]:.1%} | {share[1]:.1%} | {told:.1%} |"
                )
                print(out[-1], flush=True)
    out += ["", "## Whole logs through the live engine", ""]
    limits = Limits()
    words = {"steady": [], "noisy": []}
    for kind in words:
        for seed in range(30):
            options = {"rate_per_h": 1.0, "size_V": (0.08, 0.6), "length_s": (2.0, 20.0)} if kind == "noisy" else {}
            bench = simulate_log(kind, hours=8.0, rate_hz=0.5, seed=seed, **options)
            watcher = Watcher(bench.channels, cadence_s=2.0, limits=limits)
            time_s = bench.time_s()
            for k in range(0, time_s.size, 500):
                parts = tuple(bench.values(name)[k : k + 500] for name in bench.channels)
                watcher.feed(Fresh(0, time_s[k : k + 500], parts, k == 0))
            words[kind].append(watcher.states()[0].decision)
    for kind, found in words.items():
        tally = ", ".join(f"{word} {found.count(word)}" for word in sorted(set(found)))
        out.append(f"- {kind}, 30 logs of 8 h (2 channels, so 2.5 % each way): {tally}.")
        print(out[-1], flush=True)
    out += not_seen()
    out += after_clean()
    (HERE / "results" / "watch.md").write_text("\n".join(out) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
