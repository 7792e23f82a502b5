"""Compare by every aspect: movement, jumps, noise, level, power-up, protection. All logs are simulated and invented."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest
from test_like_with_like import case_of

sys.path.insert(0, str(Path(__file__).parent / "studies"))

import study_aspects

from flicker.base.values import Aspect
from flicker.case.model import CaseLog
from flicker.cli import main
from flicker.evidence.assessment import assess
from flicker.evidence.compare.comparison import compare, compare_stages
from flicker.evidence.compare.judged import common_part
from flicker.evidence.compare.weighing import IMPROVED, NO_CHANGE, WORSE
from flicker.simulate import simulate_log

OTHERS = (Aspect.MOVEMENT, Aspect.JUMPS, Aspect.NOISE_FLOOR, Aspect.SETTLED_LEVEL, Aspect.POWER_UP, Aspect.PROTECTION)
LEAKY = {"drift_V": 0.078}
SURGE = {"surge_V": 0.6, "surge_tau_s": 65.0, "runs": 4, "hours": 1.5}  # gone in some 266 s


def logs(kind, seed, **options):
    return list(simulate_log(kind, seed=seed, **{"rate_hz": 1.0, "hours": 4, **options}).logs)


def left(before, after, **options):
    return compare(before, after, **options).channel("left")


def aspect(found, which):
    (item,) = (one for one in found.aspects if one.aspect == which)
    return item


@pytest.mark.parametrize(
    ("before", "after", "which"),
    [
        (("drifting", LEAKY), ("steady", {}), Aspect.MOVEMENT),
        (("noisy-popcorn", {}), ("steady", {}), Aspect.JUMPS),
        (("steady", SURGE), ("steady", {"runs": 4, "hours": 1.5}), Aspect.POWER_UP),
        (("noisy-floor", {}), ("steady", {}), Aspect.NOISE_FLOOR),
        (("settled-offset", {}), ("steady", {}), Aspect.SETTLED_LEVEL),
    ],
)
def test_what_was_mended_is_named_and_the_reverse_is_worse(before, after, which):
    one, two = (assess(logs(kind, seed, **options)) for (kind, options), seed in ((before, 3), (after, 4)))
    for sides, word in (((one, two), IMPROVED), ((two, one), WORSE)):
        found = left(*sides)
        item = aspect(found, which)
        assert (found.outcome, found.aspect, item.outcome) == (word, which, word)
        assert item.reads.endswith(f"after: {word}.")
        others = [one.outcome for one in found.aspects if one.aspect != which]
        assert word == WORSE or WORSE not in others


def test_too_little_after_is_no_cure_and_says_what_would_be():
    slow = left(logs("drifting", 3, drift_V=0.03, hours=6), logs("steady", 4, hours=2))
    assert slow.outcome == NO_CHANGE and "one power-up of 6 hours; log that long" in aspect(slow, Aspect.MOVEMENT).note
    assert "log that long" in slow.reads
    # One start beyond the limits and one within: chance alone does that; the exact test says from how many on not.
    once = left(logs("steady", 3, **{**SURGE, "runs": 1}), logs("steady", 4, hours=1.5))
    assert once.outcome == NO_CHANGE and "takes 15 starts; 1 were logged" in aspect(once, Aspect.POWER_UP).note


@pytest.mark.parametrize("count", [1, 2, 4])
def test_starts_needed_are_those_of_the_reference_test(count):
    from scipy.stats import barnard_exact

    item = aspect(left(logs("steady", 3, **{**SURGE, "runs": count}), logs("steady", 4, hours=1.5)), Aspect.POWER_UP)
    needed = int(item.note.split("takes ")[1].split()[0])
    # by scipy: the largest chance over all shares, here of bad starts alone on one side, which also has a closed form
    p = [barnard_exact([[count, 0], [0, k]], alternative="greater", n=256).pvalue for k in (needed - 1, needed)]
    share = count / (count + needed)
    assert p[0] > 0.025 >= p[1] and p[1] == pytest.approx(share**count * (1.0 - share) ** needed, rel=1e-3)


def test_a_repair_that_harms_is_no_cure_and_says_both():
    found = left(logs("drifting", 3, noise_V=0.0006, **LEAKY), logs("steady", 4, noise_V=0.0038))
    assert (found.outcome, found.aspect) == (WORSE, Aspect.NOISE_FLOOR)
    assert aspect(found, Aspect.MOVEMENT).outcome == IMPROVED
    assert "worse." in found.reads and "Movement: " in found.reads and "improved." in found.reads
    swings = left(logs("noisy", 3, rate_per_h=30.0, runs=2), logs("steady", 4, noise_V=0.0038, runs=2))
    assert (swings.outcome, swings.aspect) == (WORSE, Aspect.NOISE_FLOOR) and swings.cured != "shown"
    assert aspect(swings, swings.aspects[0].aspect).outcome == IMPROVED
    rest = left(logs("steady", 3, settled_V=0.005, noise_V=0.0006), logs("steady", 4, settled_V=0.045, noise_V=0.0036))
    assert (rest.outcome, rest.aspect) == (WORSE, Aspect.NOISE_FLOOR)
    assert "Settled level: 5 mV before, 45 mV after: no change shown (further from zero" in rest.reads


def test_unlike_conditions_an_untouched_channel_and_a_lead_that_is_off_forbid_every_claim():
    both = simulate_log("drifting", seed=3, rate_hz=1.0, hours=4, bad=("left", "right"), **LEAKY)
    quiet = simulate_log("steady", seed=4, rate_hz=1.0, hours=4)
    # what every output shows alike is no channel's own, whether or not one is named as untouched
    alone = left(list(both.logs), list(quiet.logs))
    assert alone.outcome == NO_CHANGE and aspect(alone, Aspect.MOVEMENT).note.startswith("every output changed alike")
    found = left(list(both.logs), list(quiet.logs), control="right")
    assert found.outcome == NO_CHANGE and "untouched" in aspect(found, Aspect.MOVEMENT).note
    named = {}
    told = tuple(
        CaseLog(f"{name}.csv", f"{name}.csv", name, conditions=(("load", load),))
        for name, load in (("a", "none"), ("b", "8 ohm"))
    )
    for name, made in (("a", both), ("b", quiet)):
        for log in made.logs:
            log.source.name = f"{name}.csv"
        named[name] = assess(list(made.logs))
    apart = compare_stages(named, case=case_of(logs=told)).whole.channel("left")
    assert apart.outcome == NO_CHANGE and aspect(apart, Aspect.MOVEMENT).note.startswith("not comparable")
    # After 2.9 of 4 hours the lead slips onto the chassis and reads quiet: what was not observed is no part of a cure.
    slow = assess(logs("drifting", 3, drift_V=0.05))
    assert left(slow, logs("steady", 4)).outcome == IMPROVED
    assert left(slow, logs("lead-chassis", 4)).outcome == NO_CHANGE


@pytest.mark.parametrize("kind", ["steady", "noisy-popcorn"])
def test_thirty_pairs_without_a_change_give_no_claim(kind):
    for unit in range(30):
        sides = (logs(kind, 5000 + 2 * unit + k, unit=unit, hours=2, rate_hz=0.5) for k in (0, 1))
        for item in compare(*sides).channels:
            assert all(one.outcome == NO_CHANGE for one in item.aspects if one.aspect in OTHERS), item.reads


def test_document_terminal_and_page_name_the_aspect(tmp_path, capsys, undrawn):
    sides = []
    for name, kind, seed, options in (("one", "drifting", 3, LEAKY), ("two", "steady", 4, {})):
        simulate_log(kind, seed=seed, rate_hz=1.0, hours=4, **options).write(tmp_path / f"{name}.csv")
        sides.append(str(tmp_path / f"{name}.csv"))
    page = tmp_path / "page.html"
    call = ["compare", "--before", sides[0], "--after", sides[1]]
    assert main([*call, "--report", str(page)]) == 0
    assert "improved: movement" in capsys.readouterr().out
    assert "left: improved: movement" in page.read_text(encoding="utf-8")
    assert main([*call, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)["channels"][0]
    (moved,) = (item for item in told["aspects"] if item["aspect"] == "movement")
    assert moved["outcome"] == told["outcome"] == "improved" and moved["before"] > 0.05 > moved["after"]
    assert moved["unit"] == "V"


@pytest.mark.parametrize(("name", "before", "after", "mended"), study_aspects.SHARED, ids=[row[0] for row in study_aspects.SHARED])
def test_what_every_output_shows_alike_is_no_repair_of_one(name, before, after, mended):
    said = study_aspects.shared_pair(before, after, 5)
    assert said == [IMPROVED if k in mended else NO_CHANGE for k in range(len(before))]


def test_the_part_of_a_change_that_all_outputs_show():
    assert common_part([-5.0, -3.0, -4.0], 0) == -3.0 and common_part([-5.0, -3.0, -4.0], 1) == -3.0
    assert common_part([-5.0, -3.0], 0, 2.0) == -5.0  # this one may show twice as much, and no more than it does
    assert common_part([-5.0, 1.0], 0) == common_part([-5.0, None], 0) == common_part([-5.0], 0) == 0.0
