"""The choice of law: every law comes back, the criterion is the published one, errors agree with statsmodels."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tuner.errors import FitError
from tuner.fitting.choice import aicc_of, fit_laws, law_gradient
from tuner.fitting.regression import linear_fit
from tuner.laws import Knee, Law, LeakOrifice, Line, Power, TwoKnees

SPEED = np.linspace(0.03, 1.04, 40)
LAWS: list[Law] = [
    Line(1500.0),
    Power(1300.0, 0.62),
    LeakOrifice(700.0, 900.0),
    Knee(2500.0, 800.0, 0.26),
    TwoKnees(2500.0, 800.0, 2200.0, 0.2, 0.7),
]


@pytest.mark.parametrize("law", LAWS, ids=lambda law: law.name)
def test_the_law_that_made_the_points_is_chosen_and_its_parameters_lie_in_their_intervals(law: Law) -> None:
    """Not exact data: 0.5 % noise, fixed seed; all parameters within two half widths (four sigma)."""
    noise = 0.005 * law.force(np.array(0.5)) * np.random.default_rng(8).standard_normal(SPEED.size)
    fits = fit_laws(SPEED, law.force(SPEED) + noise)

    assert fits[0].law.name == law.name
    for name, estimate in fits[0].estimates().items():
        half = estimate.high - estimate.value
        assert abs(estimate.value - law.parameters[name]) <= 2.0 * half
    assert math.isclose(sum(f.weight for f in fits), 1.0, rel_tol=1e-9)
    assert fits[0].candidate().law is fits[0].law


@pytest.mark.parametrize("law", LAWS, ids=lambda law: law.name)
def test_gradients_are_those_of_finite_differences(law: Law) -> None:
    speeds = np.array([0.05, 0.31, 0.93])
    gradient = law_gradient(law, speeds)
    for i, (name, value) in enumerate(law.parameters.items()):
        step = 1e-6 * value
        moved = type(law)(**{**law.parameters, name: value + step})
        assert np.allclose(
            gradient[:, i], (moved.force(speeds) - law.force(speeds)) / step, rtol=1e-4, atol=1e-4
        )


def test_the_criterion_is_statsmodels_aicc() -> None:
    """AICc up to the constant n (1 + ln 2 pi) that all laws share, noise variance counted as a parameter."""
    tools = pytest.importorskip("statsmodels.tools.eval_measures")
    rss, n, free = 812.0, 23, 4
    log_likelihood = -0.5 * n * (math.log(2 * math.pi) + math.log(rss / n) + 1)

    wanted = float(tools.aicc(log_likelihood, n, free)) - n * (1 + math.log(2 * math.pi))
    assert math.isclose(aicc_of(rss, n, free), wanted, rel_tol=1e-12)


@pytest.mark.parametrize("clustered", [False, True])
def test_errors_are_those_of_statsmodels(clustered: bool) -> None:
    """OLS and its cluster-robust covariance with the usual small-sample factor."""
    api = pytest.importorskip("statsmodels.api")
    rng = np.random.default_rng(4)
    groups = np.repeat(np.arange(9), 12)
    x = rng.uniform(0.0, 1.0, groups.size)
    y = 300 * x + 40 * x**2 + rng.standard_normal(9)[groups] * 6 + rng.standard_normal(groups.size)
    design = np.column_stack((x, x * x))
    mine = linear_fit(design, y, clusters=groups if clustered else None)
    model = api.OLS(y, design)
    theirs = model.fit(cov_type="cluster", cov_kwds={"groups": groups}) if clustered else model.fit()

    assert np.allclose(mine.coefficients, theirs.params, rtol=1e-10)
    assert np.allclose(mine.standard_errors, theirs.bse, rtol=1e-9)


def test_weighted_errors_are_those_of_statsmodels() -> None:
    api = pytest.importorskip("statsmodels.api")
    rng = np.random.default_rng(5)
    x = rng.uniform(0.1, 1.0, 30)
    weights = rng.uniform(0.2, 3.0, 30)
    y = 900 * x + rng.standard_normal(30) * 5 / np.sqrt(weights)
    mine = linear_fit(x[:, None], y, weights)
    theirs = api.WLS(y, x[:, None], weights=weights).fit()

    assert np.allclose(mine.standard_errors, theirs.bse, rtol=1e-10)


def test_a_law_with_negative_damping_in_the_tested_range_is_kept_but_never_chosen() -> None:
    """A curve that falls to nothing: leak + orifice would need an orifice below zero."""
    force = 900 * SPEED - 700 * SPEED**2
    fits = fit_laws(SPEED, force)
    orifice = next(f for f in fits if f.law.name == "leak + orifice")

    assert orifice.rss < min(f.rss for f in fits if f is not orifice)
    assert not orifice.admissible
    assert orifice.weight == 0
    assert fits[0].law.name != "leak + orifice"


def test_a_second_knee_must_change_the_slope_to_be_chosen() -> None:
    """Three slopes of which two differ by 8 %: one knee is what a builder would see."""
    fits = fit_laws(SPEED, TwoKnees(2100.0, 1930.0, 700.0, 0.1, 0.45).force(SPEED))

    assert fits[0].law.name == "knee"


def test_an_offset_is_found_when_it_is_asked_for() -> None:
    fits = fit_laws(SPEED, LeakOrifice(700.0, 900.0).force(SPEED) + 63.0, intercept=True)

    assert fits[0].law.name == "leak + orifice"
    assert math.isclose(fits[0].intercept, 63.0, rel_tol=1e-6)


def test_one_point_still_gives_a_line() -> None:
    fits = fit_laws(np.array([0.26]), np.array([390.0]))

    assert fits[0].law == Line(1500.0)


def test_no_point_is_refused() -> None:
    with pytest.raises(FitError):
        fit_laws(np.empty(0), np.empty(0))
