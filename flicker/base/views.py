"""How a result is shown is known by a room above; it names itself here, and is loaded when somebody looks.

So a result can draw itself in a notebook though the rooms that reckon know nothing of charts.
"""

from __future__ import annotations

import importlib
from typing import Any

_ROOMS: dict[str, str] = {}


def register(**rooms: str) -> None:
    """Say which module shows results: as ``html`` (a function of that name in it), as ``charts``."""
    _ROOMS.update(rooms)


def view(kind: str, result: Any) -> Any:
    """What the room registered for ``kind`` makes of a result; None where there is no such room."""
    if kind not in _ROOMS:
        return None
    return getattr(importlib.import_module(_ROOMS[kind]), kind)(result)
