"""What is promised of hands, power, volts and the room, over simulated benches with known truth. By hand.

    python tests/studies/study_promises.py [BENCHES] [PART ...]

prints a table (the recorded one is results/promises.md). Benches are invented (`flicker.simulate`); meters of 1 mV and
0.01 mV, 1 to 10 samples per second in turn. 'Low' is the lower 95 % limit of the share (Clopper-Pearson).
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np

from flicker import Assessment, assess, simulate_log
from flicker.simulate import Bench
from flicker.stats.rates import share_interval

METERS = {"1 mV": {"resolution_V": 0.001}, "0.01 mV": {"resolution_V": 0.00001}}
RATES = (1.0, 2.0, 5.0, 10.0)
SLOW = (1.0, 1.0, 2.0, 1.0)  # for logs of days

Judge = Callable[[Bench, Assessment], bool]


def trimmed_is_no_drift(bench: Bench, found: Assessment) -> bool:
    """With its mark: neither drift nor a change of level, on either channel."""
    answers = [item.finding(name).answer for item in found.channels for name in ("drift", "level change")]
    return "yes" not in answers


def step_asks(bench: Bench, found: Assessment) -> bool:
    """Without its mark: a change of level with the question, within a minute of the truth."""
    told = found.channel("left").finding("level change")
    truth = bench.truth.runs[0]["left"].changes
    near = any(
        truth[0].time_s - 60 <= row["time_s"] <= truth[-1].time_s + 60 for row in found.channel("left").baseline.changes
    )
    return told.answer == "yes" and "was something adjusted here?" in told.reads and near


def taps_are_provoked(bench: Bench, found: Assessment) -> bool:
    """Nine of ten: 'provoked' with an interval that holds the share that a sample caught, and no spontaneous episode."""
    left = found.channel("left")
    told = left.finding("provoked")
    caught = sum(item.samples > 0 for _, item in bench.truth.excursions("left")) / 10
    holds = told.low is not None and told.high is not None and told.low <= caught <= told.high
    return told.answer == "yes" and holds and left.rate.episodes == 0 and "provoked" in left.tail


def no_excursions(bench: Bench, found: Assessment) -> bool:
    """Switch-off bumps and later surges are no excursions."""
    return all(item.excursions_total == 0 for item in found.channels)


def stop(bench: Bench, found: Assessment) -> bool:
    """The bad channel is 'do not connect', the sound one is not."""
    return [item.fitness == "do not connect" for item in found.channels] == [True, False]


def never_stop(bench: Bench, found: Assessment) -> bool:
    """No channel is 'do not connect'."""
    return all(item.fitness != "do not connect" for item in found.channels)


def not_drifting(bench: Bench, found: Assessment) -> bool:
    """No channel drifts."""
    return all(item.verdict not in ("drifting", "degrading") for item in found.channels)


def left_drifts(bench: Bench, found: Assessment) -> bool:
    """The bad channel drifts, the other does not."""
    return [item.verdict == "drifting" for item in found.channels] == [True, False]


def by_temperature(bench: Bench, found: Assessment) -> bool:
    """No drift, and the sentence names the temperature."""
    told = found.channel("left").finding("drift")
    return told.answer != "yes" and "follows the temperature" in told.reads


def meter_excused(bench: Bench, found: Assessment) -> bool:
    """Not called intermittent: the shorted lead glitches as often."""
    return found.channel("left").finding("intermittent").answer != "yes"


def supply_named(bench: Bench, found: Assessment) -> bool:
    """The rail is named as the common cause, and the channel is still noisy."""
    return found.channel("left").verdict == "noisy" and any("common cause" in text for text in found.cautions)


# part: (kind, options, whether the marks are passed, rates, what must hold, what is promised)
PARTS: dict[str, tuple[str, dict[str, Any], bool, tuple[float, ...], Judge, float]] = {
    "trimmed by 30 mV, marked: no drift": ("trimmed", {"hours": 2.0}, True, RATES, trimmed_is_no_drift, 0.95),
    "the same without the mark: the question": ("trimmed-unmarked", {"hours": 2.0}, False, RATES, step_asks, 0.95),
    "9 of 10 taps answered: provoked": ("taps", {"hours": 2.0}, True, RATES, taps_are_provoked, 0.95),
    "timer nights: no excursion": (
        "timer-nights",
        {"hours": 8.0, "on_h": 1.0, "off_h": 1.0},
        True,
        RATES,
        no_excursions,
        0.99,
    ),
    "stuck at 40 V: do not connect": ("stuck-high", {"hours": 0.5}, True, RATES, stop, 1.0),
    "settled at 0.9 V: do not connect": ("stuck-low", {"hours": 0.5}, True, RATES, stop, 1.0),
    "one swing of 6 V: do not connect": (
        "single-swing",
        {"hours": 1.0, "shape": "rectangular"},
        True,
        RATES,
        stop,
        1.0,
    ),
    "sound: never do not connect": ("steady", {"hours": 1.0}, True, RATES, never_stop, 1.0),
    "sound, 1/f noise: never do not connect": ("steady-flicker", {"hours": 1.0}, True, RATES, never_stop, 1.0),
    "48 h, daily cycle of 15 mV: not drifting": ("steady-daily", {}, True, SLOW, not_drifting, 0.99),
    "the same, one channel moves 25 mV: drifting": ("drifting-daily", {}, True, SLOW, left_drifts, 0.95),
    "follows a temperature: the room's": ("follows-temperature", {}, True, SLOW, by_temperature, 0.95),
    "drifts beside a temperature: drifting": ("drifts-beside-temperature", {}, True, SLOW, left_drifts, 0.95),
    "a meter that glitches: not the unit": ("meter-glitches", {}, True, RATES, meter_excused, 0.95),
    "jumps with the rail: the supply named": ("rail-dips", {}, True, RATES, supply_named, 0.95),
}


def benches(part: str, count: int, first_seed: int = 20_000) -> Iterator[tuple[str, Bench, Assessment]]:
    """Draw and judge, meters and rates in turn."""
    kind, options, marked, rates, _, _ = PARTS[part]
    for number in range(count):
        meter = tuple(METERS)[number % 2]
        bench = simulate_log(kind, seed=first_seed + number, rate_hz=rates[number // 2 % 4], **METERS[meter], **options)
        yield meter, bench, assess(bench.logs[0], marks=bench.marks() if marked else ())


def main() -> None:
    """Print the table."""
    words = sys.argv[1:]
    count = int(words.pop(0)) if words and words[0].isdigit() else 200
    chosen = [part for part in PARTS if not words or any(word in part for word in words)]
    for part in chosen:
        kind, _, _, _, judge, promised = PARTS[part]
        kept: dict[str, list[bool]] = {meter: [] for meter in METERS}
        failed = []
        for meter, bench, found in benches(part, count):
            kept[meter].append(judge(bench, found))
            if not kept[meter][-1]:
                failed.append(bench.truth.seed)
        whole = np.concatenate([np.array(values) for values in kept.values()])
        low = share_interval(int(whole.sum()), whole.size).low
        sides = " | ".join(f"{sum(values)}/{len(values)}" for values in kept.values())
        verdict = "kept" if whole.mean() >= promised else "missed"
        print(f"| {part} | {kind} | {sides} | {low:.3f} | {promised:g} | {verdict} | {failed[:8]} |", flush=True)


if __name__ == "__main__":
    print("| what | kind | 1 mV | 0.01 mV | low | promised | | seeds that fail |")
    print("|---|---|---|---|---|---|---|---|")
    main()
