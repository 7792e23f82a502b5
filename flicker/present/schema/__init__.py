"""JSON Schemas (draft 2020-12) of every document that the command line prints: each key with its meaning and unit.

The files lie beside this module, made by ``tests/tools/make_schemas.py`` from the annotated result classes and `documents`;
nobody edits them. `schema` hands out one that needs no other file.
"""

from __future__ import annotations

import json
from importlib.resources import files
from typing import Any

__all__ = ["NAMES", "schema"]

# Name of each document, as its key "schema" says it (lines of a watch and rows of a survey have a name here only).
NAMES: dict[str, str] = {
    "flicker/assessment/2": "assessment.json",
    "flicker/comparison/2": "comparison.json",
    "flicker/stages/2": "stages.json",
    "flicker/visits/2": "visits.json",
    "flicker/soak/2": "soak.json",
    "flicker/watch/1": "watch.json",
    "flicker/case/1": "case.json",
    "flicker/job/1": "job.json",
    "flicker/survey-row/1": "survey_row.json",
}


def schema(name: str) -> dict[str, Any]:
    """Return the schema of a document, with everything it refers to inside.

    Parameters
    ----------
    name : str
        What the document's key ``schema`` holds, for example 'flicker/assessment/2'.

    Returns
    -------
    dict
        A JSON Schema of draft 2020-12.

    Raises
    ------
    ValueError
        If there is no document of that name.
    """
    if name not in NAMES:
        raise ValueError(f"name must be one of {', '.join(map(repr, NAMES))}, got {name!r}")
    whole = _file(NAMES[name])
    waiting, held = _others(whole), {}
    while waiting:
        other = waiting.pop()
        if other not in held:
            held[other] = _file(other)
            waiting |= _others(held[other])
    if held:
        whole.setdefault("$defs", {}).update(held)
    return whole


def _file(name: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(files(__name__).joinpath(name).read_text(encoding="utf-8"))
    return found


def _others(part: Any) -> set[str]:
    """Files that a schema refers to; inside one document their ``$id`` finds them."""
    if isinstance(part, dict):
        own = str(part.get("$ref", "#")).split("#")[0]
        return {name for item in part.values() for name in _others(item)} | ({own} if own else set())
    if isinstance(part, list):
        return {name for item in part for name in _others(item)}
    return set()
