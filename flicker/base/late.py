"""Names of a package that are loaded when they are first asked for, so that a start costs what is used of it."""

from __future__ import annotations

import importlib
import sys
from collections.abc import Callable, Mapping
from typing import Any


def late(package: str, homes: Mapping[str, str]) -> Callable[[str], Any]:
    """Make the `__getattr__` of a package: ``homes`` lists, divided by spaces, the names that each of its modules holds."""
    home = {name: module for module, names in homes.items() for name in names.split()}

    def get(name: str) -> Any:
        if name not in home:
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        value = getattr(importlib.import_module(f"{package}.{home[name]}"), name)
        setattr(sys.modules[package], name, value)
        return value

    return get
