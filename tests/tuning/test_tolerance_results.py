"""Shares with their intervals and what matters most: closed forms and published indices."""

import math

import numpy as np
import pytest
from scipy import stats

from tuning.tolerance_results import explained_share, influences, quantile, share_of


def counted(count, of):
    return share_of(np.arange(of) < count)


@pytest.mark.parametrize("of", [20, 100, 1000])
def test_interval_of_none_and_of_all_in_closed_form(of):
    """Clopper–Pearson (1934): none of n gives 0 to 1 - (alpha/2)^(1/n), all of n the mirror."""
    edge = 1.0 - 0.025 ** (1.0 / of)
    assert (counted(0, of).low, counted(0, of).high) == (0.0, pytest.approx(edge))
    assert (counted(of, of).low, counted(of, of).high) == (pytest.approx(1.0 - edge), 1.0)


def test_interval_ends_where_the_tails_are_a_fortieth():
    """By definition: at the lower end 30 of 100 or more, at the upper 30 or fewer, has 2.5 %."""
    share = counted(30, 100)
    assert stats.binom.sf(29, 100, share.low) == pytest.approx(0.025, rel=1e-6)
    assert stats.binom.cdf(30, 100, share.high) == pytest.approx(0.025, rel=1e-6)


def test_a_share_in_words():
    assert counted(970, 1000).words == "97.0 % (95.7 to 98.0)"
    assert counted(500, 1000).words == "50 % (46 to 54)"
    assert counted(1000, 1000).words == "all 1000 (at least 99.6 %)"
    assert counted(0, 1000).words == "none of 1000 (at most 0.4 %)"


def test_quantile_is_a_machines_own_value_and_bears_unstable_ones():
    values = [1.2, 1.3, 1.4, math.inf]
    assert quantile(values, 0.5) == 1.3
    assert quantile(values, 0.75) == 1.4
    assert quantile(values, 0.95) == math.inf


def ishigami(x, a=7.0, b=0.1):
    return np.sin(x[0]) + a * np.sin(x[1]) ** 2 + b * x[2] ** 4 * np.sin(x[0])


# First-order indices of the Ishigami function for a 7, b 0.1 (Ishigami & Homma, 1990; values in
# closed form, as printed in Saltelli et al., Global Sensitivity Analysis: The Primer, from memory).
PUBLISHED = (0.3139, 0.4424, 0.0)


def test_first_order_indices_of_the_ishigami_function():
    """Against the published indices and scipy's estimator, which may choose its own points."""
    x = np.random.default_rng(1).uniform(-math.pi, math.pi, (3, 10_000))
    found = [explained_share(row, ishigami(x))[0] for row in x]
    # Sixteen classes blur what happens inside one of them: a little below, never much above.
    assert found == pytest.approx(PUBLISHED, abs=0.02)
    reference = stats.sobol_indices(
        func=lambda points: ishigami(points),
        n=4096,
        dists=[stats.uniform(-math.pi, 2.0 * math.pi)] * 3,
        rng=np.random.default_rng(2),
    )
    assert found == pytest.approx(np.ravel(reference.first_order), abs=0.025)


def test_what_works_both_ways_is_found_where_correlation_sees_nothing():
    x = np.random.default_rng(3).uniform(-math.pi, math.pi, (3, 2000))
    found = {one.name: one for one in influences(x.T, ishigami(x), ["one", "two", "three"])}
    two = found["two"]  # 7 sin²: as high on either side
    assert abs(two.rank_correlation) < 0.1
    assert two.sure and two.both_ways
    assert not found["one"].both_ways
    assert not found["three"].sure  # it only acts together with the first


def test_shares_of_a_sum_are_the_shares_of_its_variance():
    """y = sum a x: first-order index a²/sum a², exactly; rank correlation (6/pi) asin(r/2)."""
    a = np.array([3.0, -2.0, 1.0, 0.0])
    x = np.random.default_rng(4).normal(size=(20_000, 4))
    r = a / math.sqrt(float(a @ a))
    names = ["first", "second", "third", "none"]
    found = influences(x, x @ a, names)
    assert [one.name for one in found] == names
    for one, expected in zip(found, r, strict=True):
        assert one.rank_correlation == pytest.approx(
            6 / math.pi * math.asin(expected / 2), abs=0.02
        )
        # Of ranks, a little less than of the values themselves.
        assert one.share == pytest.approx(expected**2, abs=0.04)
        assert one.sure == (expected != 0.0)
        assert one.p_value == pytest.approx(stats.spearmanr(x[:, names.index(one.name)], x @ a)[1])


def test_unstable_machines_are_the_worst_and_no_trouble():
    """An infinite result ranks as any number above all others would."""
    x = np.random.default_rng(5).normal(size=(500, 2))
    y = x[:, 0] + 0.3 * x[:, 1]
    worst = np.where(y > 1.0, math.inf, y)
    capped = np.where(y > 1.0, 99.0, y)
    assert influences(x, worst, ["a", "b"]) == influences(x, capped, ["a", "b"])


def test_chance_alone_is_seldom_taken_for_an_influence():
    """5 % of studies at most, all tolerances together; 200 studies: above 20 has a chance < 1 %."""
    generator = np.random.default_rng(6)
    names = [str(i) for i in range(8)]
    alarms = sum(
        any(
            one.sure
            for one in influences(
                generator.normal(size=(100, 8)), generator.normal(size=100), names
            )
        )
        for _ in range(200)
    )
    assert stats.binom.sf(20, 200, 0.05) < 0.01
    assert alarms <= 20


def test_nothing_to_tell_is_told_as_nothing():
    x = np.random.default_rng(7).normal(size=(50, 1))
    (flat,) = influences(x, np.ones(50), ["a"])
    assert (flat.rank_correlation, flat.share, flat.sure) == (0.0, 0.0, False)
    assert explained_share(x[:30, 0], x[:30, 0]) == (0.0, 1.0)  # too few for two classes
