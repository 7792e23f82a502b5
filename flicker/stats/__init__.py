"""The statistics: counts, exposures, times and arrays in, frozen results out.

Each submodule answers one kind of question and is loaded when it is first named, so that importing the package stays
quick.
"""

from __future__ import annotations

import importlib
from types import ModuleType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from flicker.stats import (
        arrivals,
        association,
        changepoints,
        extremes,
        jumps,
        moving,
        noise,
        power_ups,
        rates,
        sequential,
        soak,
        trends,
    )

__all__ = [
    "arrivals",
    "association",
    "changepoints",
    "extremes",
    "jumps",
    "moving",
    "noise",
    "power_ups",
    "rates",
    "sequential",
    "soak",
    "trends",
]


def __getattr__(name: str) -> ModuleType:
    if name in __all__:
        return importlib.import_module(f"{__name__}.{name}")
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
