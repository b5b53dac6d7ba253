"""Intervals against tabulated quantiles and Monte Carlo."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tuner.errors import RecordError
from tuner.estimates import Estimate, product, student_95


@pytest.mark.parametrize(("df", "t"), [(1, 12.706), (2, 4.303), (5, 2.571), (24, 2.064), (math.inf, 1.960)])
def test_student_points_stand_in_every_table(df, t):
    """Two-sided 95 % points of Student's t, as printed in the NIST/SEMATECH handbook, sec. 1.3.6.7.2."""
    assert student_95(df) == pytest.approx(t, abs=6e-4)


def test_interval_of_a_normal_value():
    estimate = Estimate.from_sd(10.0, 1.0, "N", df=5)

    assert estimate.high == pytest.approx(10 + 2.5706, abs=1e-3)
    assert estimate.contains(7.5)
    assert not estimate.contains(7.4)


def test_interval_on_logarithms_is_symmetric_as_a_ratio_and_gives_its_sd_back():
    estimate = Estimate.from_log_sd(800.0, 0.1, "N*s/m")

    assert estimate.high / 800.0 == pytest.approx(800.0 / estimate.low)
    assert estimate.log_sd == pytest.approx(0.1)


def test_product_agrees_with_monte_carlo():
    """zeta = c r / (2 sqrt(k m)) by logarithms and by a million draws."""
    rng = np.random.default_rng(4)
    terms = [
        (Estimate.from_log_sd(1500.0, 0.05, "N*s/m"), 1.0),
        (Estimate.from_log_sd(28e3, 0.03, "N/m"), -0.5),
        (Estimate.from_log_sd(92.0, 0.01, "kg"), -0.5),
    ]

    result = product(terms, "1")

    draws = np.ones(1_000_000)
    for estimate, power in terms:
        draws *= np.exp(rng.normal(math.log(estimate.value), estimate.log_sd, draws.size)) ** power
    low, high = np.quantile(draws, [0.025, 0.975])
    assert result.low == pytest.approx(low, rel=2e-3)
    assert result.high == pytest.approx(high, rel=2e-3)


def test_draws_give_their_central_interval():
    draws = np.random.default_rng(1).normal(5.0, 2.0, 400_000)

    estimate = Estimate.from_draws(draws, "1")

    assert estimate.low == pytest.approx(5 - 1.96 * 2, abs=0.03)
    assert estimate.sd == pytest.approx(2.0, rel=0.01)


def test_a_negative_factor_swaps_the_bounds():
    assert Estimate(2.0, 1.0, 4.0, "N").scaled(-1.0) == Estimate(-2.0, -4.0, -1.0, "N")


@pytest.mark.parametrize(
    "values", [(math.nan, 0, 1), (1, math.nan, 2), (3, 1, 2), (0, 1, 2), (math.inf, 0, math.inf)]
)
def test_an_impossible_estimate_is_refused(values):
    with pytest.raises(RecordError):
        Estimate(*values, "N")


def test_a_bound_may_be_open():
    assert Estimate(1.0, 0.0, math.inf, "1").log_sd == math.inf


def test_a_product_of_something_not_positive_is_refused():
    with pytest.raises(RecordError, match="positive"):
        product([(Estimate.exact(-1.0, "N"), 1.0)], "N")


@pytest.mark.parametrize("count", [1, 3, 40])
def test_a_positive_interval_is_that_of_a_rate_on_logarithms(count):
    """k events in a time: ln(rate) has the error 1/sqrt(k), so the interval is rate exp(+-z/sqrt(k))."""
    z = 1.959963984540054
    found = Estimate.above_zero(count / 7.0, z * math.sqrt(count) / 7.0, "1/min")

    assert found.low == pytest.approx(count / 7.0 * math.exp(-z / math.sqrt(count)))
    assert found.high == pytest.approx(count / 7.0 * math.exp(z / math.sqrt(count)))


@pytest.mark.parametrize(("count", "of"), [(1, 50), (20, 40), (49, 50)])
def test_a_share_is_spread_as_log_odds_are(count, of):
    """Agresti: the log odds k/(n - k) have the variance 1/k + 1/(n - k)."""
    z, p = 1.959963984540054, count / of
    found = Estimate.within_one(p, z * math.sqrt(p * (1 - p) / of))
    half = z * math.sqrt(1 / count + 1 / (of - count))

    for bound, sign in ((found.low, -1), (found.high, 1)):
        assert math.log(bound / (1 - bound)) == pytest.approx(math.log(p / (1 - p)) + sign * half)


def test_no_half_width_takes_a_positive_quantity_below_zero():
    rng = np.random.default_rng(5)
    for value, half in zip(rng.exponential(1.0, 300), np.exp(rng.normal(0.0, 4.0, 300)), strict=True):
        for found in (
            Estimate.above_zero(value, half, "s"),
            Estimate.within_one(min(value, 1.0), half),
            Estimate(value, value - half, value + half, "N").not_negative(),
        ):
            assert 0.0 <= found.low <= found.value <= found.high
    assert Estimate.above_zero(0.0, 1.0, "s") == Estimate(0.0, 0.0, 1.0, "s")
    assert Estimate.within_one(1.0, 0.2) == Estimate(1.0, 0.8, 1.0, "1")
