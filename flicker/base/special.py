"""The special functions of scipy, without what `scipy.special` loads beside them: half of what a short log costs at the start.

The compiled functions stand in one module of that package, and need nothing else of it; its ``__init__`` adds array
libraries, polynomials and documentation. Where that module cannot be had alone, the package is loaded as ever: the
functions are the same objects (`tests/test_base_special.py`).
"""

from __future__ import annotations

import importlib
import importlib.util
import sys
import threading
from types import ModuleType
from typing import Any

_PACKAGE = "scipy.special"


def _compiled() -> ModuleType | None:
    """The module of compiled functions alone; None where the package is loaded anyway, or others may ask for it meanwhile."""
    if _PACKAGE in sys.modules or threading.active_count() > 1:
        return None
    found = importlib.util.find_spec(_PACKAGE)
    if found is None or not found.submodule_search_locations:
        return None
    empty = ModuleType(_PACKAGE)
    empty.__path__ = list(found.submodule_search_locations)
    sys.modules[_PACKAGE] = empty  # the package, for as long as its part is loaded
    try:
        return importlib.import_module(f"{_PACKAGE}._ufuncs")
    except ImportError:
        return None
    finally:
        del sys.modules[_PACKAGE]


_functions = _compiled()


def __getattr__(name: str) -> Any:
    if name.startswith("__"):  # an import asks for ``__path__``
        raise AttributeError(name)
    home = _functions if hasattr(_functions, name) else importlib.import_module(_PACKAGE)
    globals()[name] = found = getattr(home, name)
    return found
