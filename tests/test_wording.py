"""No decision hangs on the wording of a sentence: with every sentence replaced, documents keep all their values."""

from __future__ import annotations

import dataclasses
import functools
import importlib
import pkgutil
import sys
from datetime import date
from pathlib import Path

import pytest

import flicker
from flicker import assess, compare, simulate_log
from flicker.base import formats
from flicker.base.result import Result
from flicker.evidence.visits.over_visits import over_visits

DEMO = Path(__file__).parents[1] / "demo_data"
SENTENCES = {"reads", "method", "tail", "technician", "caution", "note"}  # fields that hold one
TOLD = SENTENCES | {"cautions", "found", "notes", "comparable", "not_excluded", "against", "what_if_reads", "forecast_reads", "level_reads", "year_reads", "repeats_for", "summary", "colour_reads"}  # fmt: skip
GARBLED = "~ quite another sentence ~"


def values(part):
    """A document without its sentences."""
    if isinstance(part, dict):
        return {key: values(item) for key, item in part.items() if key not in TOLD}
    return [values(item) for item in part] if isinstance(part, list) else part


def results():
    """All result classes of the package, and what the verdict hands on."""
    for module in pkgutil.walk_packages(flicker.__path__, "flicker."):
        if not module.name.endswith("__main__"):
            importlib.import_module(module.name)
    waiting, found = [Result], []
    while waiting:
        one = waiting.pop()
        waiting += one.__subclasses__()
        found.append(one)
    verdict = sys.modules["flicker.evidence.verdict"].Verdict
    return [*(one for one in found if dataclasses.is_dataclass(one) and one.__module__.startswith("flicker.")), verdict]


@pytest.fixture
def other_words(monkeypatch):
    """Replace every sentence where it is made: fields of results, computed ones, numbers in words."""
    for one in results():
        own = {field.name for field in dataclasses.fields(one)} & SENTENCES
        if own:
            monkeypatch.setattr(one, "__init__", _garbling(one.__init__, one, own))
        if isinstance(vars(one).get("reads"), property):
            monkeypatch.setattr(one, "reads", property(lambda self: GARBLED))
    for name, made in vars(formats).copy().items():
        if name.endswith("_text") or name == "p_said":
            for module in list(sys.modules.values()):
                if getattr(module, "__name__", "").startswith("flicker.") and vars(module).get(name) is made:
                    monkeypatch.setattr(module, name, lambda *_, **__: GARBLED)


def _garbling(init, one, own):
    names = [field.name for field in dataclasses.fields(one) if field.init]

    @functools.wraps(init)
    def made(self, *given, **named):
        told = dict(zip(names, given, strict=False)) | named
        for name in own & set(told):
            if isinstance(told[name], str):
                told[name] = GARBLED
        init(self, **told)

    return made


def documents(folder):
    """What is said of a few benches: sound, recurring, moving, provoked, beside a shorted lead; before and after; visits."""
    out = {}
    for kind in ("steady", "noisy", "noisy-saturated", "noisy-popcorn", "drifting-step", "degrading", "relay", "meter-glitches"):
        hours = {} if kind == "relay" else {"hours": 1.5}
        out[kind] = assess(simulate_log(kind, seed=9, **hours).logs[0]).to_dict()
    taps = folder / "taps.csv"
    if not taps.exists():
        simulate_log("taps", seed=9).write(taps)
    out["taps"] = assess(taps).to_dict()
    before, after = (simulate_log(kind, seed=9, hours=1.5).logs[0] for kind in ("noisy", "steady"))
    out["compare"] = compare(before, after).to_dict()
    dated = {date(2031, month, 4): [DEMO / f"m22_visit_{n}.csv"] for n, month in enumerate((3, 6, 9), start=1)}
    out["visits"] = over_visits(list(dated.items())).to_dict()
    return out


def test_with_every_sentence_replaced_documents_keep_their_values(tmp_path, request):
    plain = documents(tmp_path)
    request.getfixturevalue("other_words")
    garbled = documents(tmp_path)
    assert garbled["noisy"]["channels"][0]["findings"][0]["reads"] == GARBLED
    assert garbled["noisy"]["channels"][0]["tail"] == GARBLED
    for name, document in plain.items():
        assert values(garbled[name]) == values(document), name
