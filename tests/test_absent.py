"""None of so many power-ups here, some of so many there. References: scipy.stats.barnard_exact, and sums by hand."""

from __future__ import annotations

import pytest

from flicker.stats.rates import absent_test


@pytest.mark.parametrize(("none_of", "some", "of", "p"), [
    (3, 3, 3, 1 / 64),  # by hand: (1 - q)^3 q^3 is largest at one half
    (2, 2, 2, 1 / 16),
    (1, 1, 1, 1 / 4),
    (4, 0, 5, 1.0),  # none there either
])  # fmt: skip
def test_the_largest_chance(none_of, some, of, p):
    found = absent_test(none_of, some, of)
    assert found.p_value == pytest.approx(p, rel=1e-5) and f"{some} of {of} there" in found.reads


@pytest.mark.parametrize(("none_of", "of"), [(2, 4), (3, 5), (6, 6)])
def test_where_all_showed_it_as_the_reference(none_of, of):
    from scipy.stats import barnard_exact

    p = barnard_exact([[of, 0], [0, none_of]], alternative="greater", n=512).pvalue
    assert absent_test(none_of, of, of).p_value == pytest.approx(p, rel=1e-3)


def test_it_refuses_more_than_all():
    with pytest.raises(ValueError, match="some must not be more than of, got 4 of 3"):
        absent_test(2, 4, 3)
