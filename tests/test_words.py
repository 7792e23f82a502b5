"""Sentences that a person can meet: no counted brackets, none of the phrases that made a technician stop (issue 23)."""

from __future__ import annotations

import re
import sys
from functools import cache
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent / "tools"))
import list_sentences

# Read as a technician would, and rewritten; they must not come back.
STOPPED_AT = (
    "speak for a cure",
    "to speak for",
    "holds for bursts with pauses",
    "has episodes of its own",
    "would reach it",
    "need not come in clusters",
    "comparison(s)",
    "episode(s)",
    "usual at that place",
    "Described, not tested",
    "answered by an event",
    "However much power-ups differ",
    "that noise would not explain",
    "one long run show",
    "Whatever power-ups differ",
    "ike power-ups vary",
    "could hide a swing:",
    "needs {hours_text(clean_h)} without one",
    "was read as a mains",
)


@cache
def said():
    """Module, line and text of every sentence."""
    return list(list_sentences.sentences())


def test_the_list_finds_what_is_said():
    words = [text for _, _, text in said()]
    assert len(words) > 1000
    assert any("Mains voltage and" in text for text in words) and any("May a loudspeaker be connected?" in text for text in words)


def test_none_of_the_old_stumbling_blocks_is_left():
    found = [(name, line, text) for name, line, text in said() for old in STOPPED_AT if old in text]
    assert found == []


def test_a_count_is_never_followed_by_a_bracketed_plural():
    found = [(name, line, text) for name, line, text in said() if re.search(r"\}\s+[a-z -]+\(s\)", text)]
    assert found == []
