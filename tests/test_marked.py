"""What the hands did: marks change what is observed, what is claimed, and what counts as spontaneous. All data invented."""

import numpy as np
import pytest
from command import flicker

from flicker import Log, assess, simulate_log
from flicker.base.limits import Limits
from flicker.evidence.assessment import judge
from flicker.evidence.questions.marked import hands_of
from flicker.logs.marks import parse_marks
from flicker.signals.trace import trace_log


def judged(log, text):
    hands = hands_of(parse_marks("time,kind,channel,until,text\n" + text, log), log.channels)
    return judge(trace_log(log, Limits(), hands=hands), {}, Limits())


def flat(hours=4.0, seed=1):
    rng = np.random.default_rng(seed)
    time = np.arange(int(hours * 7200)) / 2.0
    return time, 0.006 + 0.0005 * rng.normal(size=time.size)


def test_trimming_with_a_mark_is_no_drift_and_without_it_is_a_question(tmp_path):
    # A mark 'adjusted' begins anew: what follows it needs clean hours of its own, so the log is eight hours long.
    for kind, word in (("trimmed", "steady"), ("trimmed-unmarked", "drifting")):
        paths = simulate_log(kind, seed=4, hours=8.0).write(tmp_path / f"{kind}.csv")
        channel = assess([path for path in paths if ".marks." not in str(path)]).channels[0]
        assert channel.verdict == word
    assert "was something adjusted here?" in channel.finding("level change").reads


def test_after_a_trim_the_hours_since_count(tmp_path):
    # four hours, trimmed after some 1.6: the page says how long it was clean since, not since the start
    paths = simulate_log("trimmed", seed=4).write(tmp_path / "trimmed.csv")
    channel = assess([path for path in paths if ".marks." not in str(path)]).channels[0]
    assert channel.verdict == "inconclusive" and channel.fitness == "not yet shown"
    assert channel.tail.startswith("too short: 2.4 hours clean since the last change")


def test_nine_of_ten_taps_answered_is_provoked_and_not_spontaneous():
    time, x = flat()
    rows = ""
    for k in range(10):
        at = 2000 + 600 * k
        rows += f"{at},stimulus,left,,tap\n"
        if k:
            x[2 * at + 1 : 2 * at + 4] += 0.3
    channel = judged(Log.from_arrays(time, {"left": x}), rows).channels[0]
    told = channel.finding("provoked")
    assert told.answer == "yes" and told.effect == pytest.approx(0.9)
    # Clopper-Pearson 95 % for 9 of 10: 0.5549840 to 0.9974714 (R `binom.test`, from memory; recomputed by beta quantiles)
    assert (told.low, told.high) == pytest.approx((0.5549840, 0.9974714), abs=1e-6)
    assert channel.finding("intermittent").answer == "yes" and channel.rate.episodes == 0
    assert channel.verdict == "noisy" and channel.tail == "intermittent when provoked"


def test_what_was_touched_is_not_observed():
    time, x = flat()
    x[10000:10020] += 1.5
    log = Log.from_arrays(time, {"left": x})
    plain = judged(log, "0,note,,,begin\n").channels[0]
    held = judged(log, "4990,touched,,5030,moved the leads\n").channels[0]
    assert plain.verdict == "one-off" and held.verdict == "steady"
    assert held.observed_s == pytest.approx(plain.observed_s - 40.0, abs=1.0)
    assert any("touched" in gap["reason"] for gap in held.gaps)


def test_a_mark_on_one_channel_leaves_the_other_alone():
    time, x = flat()
    y = flat(seed=2)[1]
    log = Log.from_arrays(time, {"left": x + 0.03 * (time > 7000), "right": y - 0.03 * (time > 9000)})
    result = judged(log, "7000,adjusted,left,,offset trimmed\n")
    assert result.channel("left").finding("level change").answer != "yes"
    assert result.channel("right").finding("level change").answer == "yes"


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("100,tapped,,,x", "tapped"),
        ("99999,note,,,x", "99999"),
        ("100,note,centre,,x", "centre"),
        ("100,touched,,50,x", "until"),
    ],
)
def test_a_bad_mark_is_one_sentence_and_exit_code_2(tmp_path, row, says):
    (path,) = simulate_log("steady", seed=1, hours=0.5).write(tmp_path / "log.csv")
    (tmp_path / "log.marks.csv").write_text(f"time,kind,channel,until,text\n{row}\n")
    done = flicker("assess", path)
    assert done.returncode == 2 and says in done.stderr and done.stderr.count("\n") == 1
