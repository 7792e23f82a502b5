"""Where the findings point: each clue on a simulated unit that has it, none on sound ones. All data invented."""

from __future__ import annotations

import io

import numpy as np
import pytest
from rich.console import Console
from test_marked import flat, judged

from flicker import Log, assess, simulate_log
from flicker.evidence.worth_looking import INSIDE, PLACES, SOURCE, Clue, in_every_channel
from flicker.present.terminal import show_assessment

# what the simulated unit has, and the clue that a bench would take from it: common practice, no source
POINTS = [
    ("noisy-popcorn", Clue.TWO_LEVELS, "jumps"),
    ("follows-temperature", Clue.TEMPERATURE, "drift"),
    ("warm-up", Clue.WARMING, "warm_up"),
    ("heat", Clue.HOT, "warm_up"),
    ("mains-common", Clue.TOGETHER, "coincidence"),
    ("relay-speaker-side", Clue.ZERO, "gaps"),
    ("degrading-visits", Clue.WITH_POWER_UPS, "worse with age"),
    ("drifting-power-ups", Clue.WITH_POWER_UPS, "power_up_history"),
]


@pytest.mark.parametrize(("kind", "clue", "rests_on"), POINTS)
def test_a_clue_on_a_unit_that_has_it(kind, clue, rests_on):
    (row, *_) = assess(list(simulate_log(kind, seed=101).logs)).channels[0].worth_looking
    assert (row.clue, row.rests_on, row.inside) == (clue, rests_on, PLACES[clue].inside)
    assert row.source == SOURCE and PLACES[clue].look in row.reads


@pytest.mark.parametrize("kind", ["steady", "steady-warming", "steady-nuisance", "noisy", "one-off", "drifting"])
def test_no_clue_where_nothing_points(kind):
    assert all(item.worth_looking == () for item in assess(list(simulate_log(kind, seed=103).logs)).channels)


def noted(gap_s, count=8, notes=True):
    """A log whose swings follow notes by so many seconds."""
    time, x = flat()
    rows = ""
    for k in range(count):
        at = 2000 + 700 * k
        rows += f"{at},note,,,moved the cable\n" if notes else ""
        x[int(2 * (at + gap_s)) : int(2 * (at + gap_s)) + 4] += 0.3
    return judged(Log.from_arrays(time, {"left": x}), rows)


def test_notes_right_before_swings_ask_whether_it_was_a_tap():
    (row,) = noted(3.0).channels[0].worth_looking
    assert row.clue == Clue.NOTES and row.found == "8 of 8 follow a note" and "was it a tap?" in row.reads
    assert noted(200.0).channels[0].worth_looking == ()  # long after: nothing to do with the note
    assert noted(3.0, count=2).channels[0].worth_looking == ()  # two are no pattern
    assert noted(-20.0).channels[0].worth_looking == ()  # a note after the swing tells of it


def test_notes_at_random_are_rarely_a_clue():
    # invented nulls: ten notes and thirty swings without a link; 2.5 % nominal, 60 draws, so five are beyond chance
    rng = np.random.default_rng(6)
    false = 0
    for _ in range(60):
        time = np.arange(0.0, 7200.0, 1.0)
        x = 0.006 + 0.0005 * rng.normal(size=time.size)
        for at in rng.integers(20, 7150, 30):
            x[at : at + 3] += 0.3
        rows = "".join(f"{at},note,,,heard it\n" for at in sorted(rng.choice(np.arange(100, 7100), 10, replace=False)))
        false += bool([r for r in judged(Log.from_arrays(time, {"left": x}), rows).channels[0].worth_looking if r.clue == Clue.NOTES])
    assert false <= 4


def test_jumps_in_every_channel_point_to_what_they_share():
    (row,) = assess(list(simulate_log("noisy-popcorn", seed=101).logs)).channels[0].worth_looking
    alone = in_every_channel([(row,), ()])
    both = in_every_channel([(row,), (row,)])
    assert alone == [(row,), ()]
    assert [mine[0].clue for mine in both] == [Clue.TOGETHER] * 2 and not both[0][0].inside


def test_the_page_says_that_it_is_no_verdict_and_warns():
    out = io.StringIO()
    found = assess(list(simulate_log("noisy-popcorn", seed=101).logs))
    show_assessment(found, Console(file=out, width=400, color_system=None))
    assert f"worth looking  ({SOURCE}; no verdict)" in out.getvalue() and INSIDE in out.getvalue()
    assert found.to_dict()["channels"][0]["worth_looking"][0]["clue"] == "two levels"
