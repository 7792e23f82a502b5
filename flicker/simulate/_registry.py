"""The list of kinds: name, family, a line of description, the verdict that the definitions give, how to draw it."""

from __future__ import annotations

import inspect
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from flicker.simulate._sheet import Sheet

Draw = Callable[..., None]

REGISTRY: dict[str, Kind] = {}


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of bench. ``bench`` overrides common options; ``draw`` has the kind's own options as keywords."""

    name: str
    family: str
    text: str
    verdict: str | None
    draw: Draw
    bench: Mapping[str, Any]

    def options(self) -> dict[str, Any]:
        """Return the kind's own options with their defaults."""
        return {
            name: item.default
            for name, item in inspect.signature(self.draw).parameters.items()
            if item.kind is inspect.Parameter.KEYWORD_ONLY
        }


def kind(name: str, family: str, text: str, *, verdict: str | None, **bench: Any) -> Callable[[Draw], Draw]:
    """Enter a drawing function under a name; it may be entered under several."""

    def enter(draw: Draw) -> Draw:
        REGISTRY[name] = Kind(name=name, family=family, text=text, verdict=verdict, draw=draw, bench=bench)
        return draw

    return enter


def nothing(sheet: Sheet) -> None:
    """Draw nothing beside the noise and the power-up."""
