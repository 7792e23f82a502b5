"""Small files as loggers, spreadsheets and scripts make them, each read as its truth says, asked about, or refused.

The files and their truths are those of `tests/studies/fresh_reading.py`, written without having read the reader (forms of
files are common practice, no source; all data are invented).
"""

from __future__ import annotations

import re
import sys
from collections import Counter
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent / "studies"))

from fresh_reading import Outcome, Sample, Truth, judge, samples, truth

FILES = dict(samples())
#: Those that are asked about, though a person would know; what is asked, answered as it is at the bench, leads to the truth.
ASKED = {
    "steps", "word '>2000'", "word '< -2000'", "word 'open'", "word 'ERR'", "footer with a stamp", "no unit", "min max mean", "day or month",
    "elapsed mm:ss, no word", "unit of one column only", "samples per minute", "samples per minute, words", "unit of another column",
    "two-digit year first", "counter wraps",
    "three decimals, comma", "three decimals, point", "points group, no decimals", "commas group, no decimals", "commas group, quotes",
}  # fmt: skip
#: Those that are refused though a person reads them at once.
KNOWN = {
    "prefix glued": Outcome.DEAD_END,
    "summary table after": Outcome.DEAD_END,
    "newest first, elapsed": Outcome.DEAD_END,
    "newest first, clock alone": Outcome.DEAD_END,
}


@pytest.mark.parametrize("name", FILES)
def test_a_file_is_read_as_its_truth_says(name: str, tmp_path: Path) -> None:
    outcome, said = judge(FILES[name], re.sub(r"\W", "_", name), tmp_path)
    usual = {Outcome.REFUSED, Outcome.RIGHT} if FILES[name].may_refuse or not FILES[name].truths else {Outcome.RIGHT}
    expected = {KNOWN[name]} if name in KNOWN else {Outcome.ASKED} if name in ASKED or FILES[name].needs_ask else usual
    assert outcome in expected, said
    if outcome is Outcome.REFUSED:
        assert said.count("\n") == 0
        assert len(said) < 1500


def test_the_judge_sees_what_is_wrong(tmp_path: Path) -> None:
    """A truth of another scale, date, time, name or row is noticed; a log that may not be refused and is, too."""
    sample = FILES["plain"]
    right = sample.truths[0]
    wrong = [
        truth(scale=1e-4),
        Truth(right.volts, right.t_s * 2),
        Truth(right.volts, right.t_s, None),
        Truth({"Left": right.volts["Right"], "Right": right.volts["Left"]}, right.t_s),
        Truth({"Left": right.volts["Left"]}, right.t_s),
        Truth({n: v[1:] for n, v in right.volts.items()}, right.t_s[1:]),
    ]
    outcomes = [judge(Sample(sample.data, (one,)), "plain", tmp_path)[0] for one in wrong]
    assert Counter(outcomes) == {Outcome.WRONG: len(wrong)}
    assert judge(Sample(b"Left\nnothing\n", (right,)), "lost", tmp_path)[0] is Outcome.DEAD_END
