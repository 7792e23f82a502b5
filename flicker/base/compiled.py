"""A compiled module of scipy without the package about it, which costs more to load than a short log to judge."""

from __future__ import annotations

import importlib
import importlib.util
import sys
import threading
from types import ModuleType


def alone(package: str, name: str) -> ModuleType | None:
    """Load one module of a package; None where the package is loaded anyway, or others may ask for it meanwhile."""
    if package in sys.modules or threading.active_count() > 1:
        return None
    found = importlib.util.find_spec(package)
    if found is None or not found.submodule_search_locations:
        return None
    empty = ModuleType(package)
    empty.__path__ = list(found.submodule_search_locations)
    sys.modules[package] = empty  # the package, for as long as its part is loaded
    try:
        return importlib.import_module(f"{package}.{name}")
    except ImportError:
        return None
    finally:
        del sys.modules[package]
