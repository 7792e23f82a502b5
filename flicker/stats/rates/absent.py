"""Barnard's exact test: none of so many power-ups on one side, some of so many on the other: chance, or another share?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from flicker.base import check
from flicker.base.formats import p_said
from flicker.base.result import Result

SHARES = np.linspace(0.0, 1.0, 2001)  # true shares over which the largest chance is looked for: to six digits of it


@dataclass(frozen=True, slots=True)
class AbsentTest(Result):
    """One-sided p-value of a share that is larger on the side where some were seen."""

    none_of: int
    some: int
    of: int
    p_value: float
    method: str = "exact unconditional test of two shares, none seen on one side"

    @property
    def reads(self) -> str:
        """The finding in words."""
        return f"none of {self.none_of} here, {self.some} of {self.of} there: {p_said(self.p_value)}"


def absent_test(none_of: int, some: int, of: int) -> AbsentTest:
    """Is a share larger there, where ``some`` of ``of`` showed it, than here, where none of ``none_of`` did?

    Parameters
    ----------
    none_of : int
        Power-ups of the side that showed none.
    some, of : int
        Power-ups of the other side that showed it, and all of them.

    Returns
    -------
    AbsentTest

    Raises
    ------
    ValueError
        If an argument is negative or no whole number, or ``some`` is more than ``of``.

    Notes
    -----
    The largest chance, over all shares that both sides may have in common, of none here and as many or more there (Barnard
    1945, Nature 156, 177): one-sided, and right for independent power-ups whatever the share. Three of three against none of
    three have a chance of 1/64 at most, where the conditional test of Fisher gives 1/20.
    """
    from scipy import special

    none_of, some, of = check.whole("none_of", none_of), check.whole("some", some), check.whole("of", of)
    if some > of:
        raise ValueError(f"some must not be more than of, got {some} of {of}")
    as_many = special.betainc(some, of - some + 1, SHARES) if some else np.ones_like(SHARES)
    return AbsentTest(none_of, some, of, float(((1.0 - SHARES) ** none_of * as_many).max()))
