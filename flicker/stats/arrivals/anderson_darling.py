"""The Anderson-Darling statistic against the uniform law, and its limiting law."""

from __future__ import annotations

import numpy as np
from scipy import special

from flicker.base.arrays import Floats


def anderson_darling(u: Floats) -> Floats:
    """A-squared against the uniform law, along the last axis of sorted ``u``."""
    n = u.shape[-1]
    u = np.clip(u, 1e-15, 1.0 - 1e-15)  # a time at the very border of its run
    odd = 2.0 * np.arange(1, n + 1) - 1.0
    out: Floats = -n - np.sum(odd * (np.log(u) + np.log1p(-u[..., ::-1])), axis=-1) / n
    return out


def anderson_darling_limit(a2: float) -> float:
    """Upper tail of the limiting Anderson-Darling law: Anderson and Darling (1952), series."""
    if a2 <= 0.02:
        return 1.0
    j = np.arange(0, 12)
    sign = special.binom(-0.5, j)
    lead = (4 * j + 1.0) ** 2 * np.pi**2 / (8.0 * a2)
    x, dx = np.linspace(0.0, 9.0, 451, retstep=True)  # each integrand is smooth and falls as exp(-x^2)
    w = x[None, :] / np.sqrt(lead)[:, None]
    inner = np.exp(a2 / (8.0 * (w**2 + 1.0)) - x[None, :] ** 2)
    integral = (inner.sum(axis=1) - 0.5 * (inner[:, 0] + inner[:, -1])) * dx / np.sqrt(lead)
    cdf = np.sqrt(2.0 * np.pi) / a2 * np.sum(sign * (4 * j + 1.0) * np.exp(-lead) * integral)
    return float(min(max(1.0 - cdf, 0.0), 1.0))
