"""The special functions of scipy, the same objects, without what `scipy.special` loads beside them.

The compiled functions stand in one module of that package; its ``__init__`` adds array libraries, polynomials and
documentation. What is not among them, or cannot be had alone, comes from the package as ever.
"""

from __future__ import annotations

import importlib
from typing import Any

import numpy as np
from numpy.typing import NDArray

from flicker.base.compiled import alone

_functions = alone("scipy.special", "_ufuncs")


def __getattr__(name: str) -> Any:
    if name.startswith("__"):  # an import asks for ``__path__``
        raise AttributeError(name)
    home = _functions if hasattr(_functions, name) else importlib.import_module("scipy.special")
    globals()[name] = found = getattr(home, name)
    return found


def logsumexp(values: NDArray[np.float64], axis: int | None = None) -> Any:
    """Logarithm of a sum of exponentials, the largest set apart (as scipy has it; its own takes each exponential twice)."""
    top = values.max(axis=axis, keepdims=True)
    highest = values == top
    many = highest.sum(axis=axis, keepdims=True, dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        rest = np.exp(np.where(highest, -np.inf, values) - top).sum(axis=axis, keepdims=True)
        out = np.log1p(rest / many) + np.log(many) + top
        if not np.isfinite(out).all():
            out = np.where(np.isfinite(out), out, np.log(np.exp(values).sum(axis=axis, keepdims=True)))
    return np.squeeze(out, axis=axis)[()]
