"""scipy.special, loaded without rooms of numpy that nobody here asks for.

Import this module before it. scipy copies every name of numpy's as it is imported, and so loads numpy's helpers for tests
and its translator of Fortran, which numpy itself loads only for who names them: a tenth of a short log's time.
"""

from __future__ import annotations

import sys
from types import ModuleType

import numpy as np

UNASKED = tuple(name for name in ("f2py", "testing") if f"numpy.{name}" not in sys.modules)

for _name in UNASKED:  # an empty room is copied in its place,
    setattr(np, _name, ModuleType(f"numpy.{_name}"))
import scipy.special  # noqa: E402, F401

for _name in UNASKED:  # and who names the real one afterwards gets it, as before
    delattr(np, _name)
