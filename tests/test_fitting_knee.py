"""The exact knee: global, equal to other libraries, honest when nothing bends."""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from tuner.errors import FitError
from tuner.fitting.knee import broken_stick, two_knees
from tuner.laws import Knee, TwoKnees

Array = np.ndarray


def bent(seed: int, n: int = 40, noise: float = 8.0) -> tuple[Array, Array]:
    """Points of a knee at 0.3 m/s with noise."""
    rng = np.random.default_rng(seed)
    speed = np.sort(rng.uniform(0.02, 1.0, n))
    return speed, Knee(2000.0, 700.0, 0.3).force(speed) + noise * rng.standard_normal(n)


def rss_at(x: Array, y: Array, knee: float, *, intercept: bool) -> float:
    columns = [x, np.maximum(x - knee, 0)] + ([np.ones_like(x)] if intercept else [])
    answer = np.linalg.lstsq(np.column_stack(columns), y, rcond=None)[0]
    return float(np.sum((y - np.column_stack(columns) @ answer) ** 2))


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("intercept", [False, True])
def test_no_place_on_a_fine_grid_is_better(seed: int, intercept: bool) -> None:
    """The sum of squares at every place, by brute force, is never below that of the exact knee."""
    noise = 200.0 if seed > 3 else 8.0  # with much noise there are many local minima
    x, y = bent(seed, noise=noise)
    stick = broken_stick(x, y, intercept=intercept)
    inside = np.linspace(x[1], x[-2], 2001)

    assert stick.rss <= min(rss_at(x, y, k, intercept=intercept) for k in inside) * (1 + 1e-9)
    assert np.isclose(stick.rss, rss_at(x, y, stick.knees[0], intercept=intercept), rtol=1e-9)


def test_pwlf_finds_the_same_knee() -> None:
    """pwlf (MIT) searches by differential evolution; same place, slopes and standard errors."""
    pwlf = pytest.importorskip("pwlf")
    x, y = bent(1)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        model = pwlf.PiecewiseLinFit(x, y, seed=1)
        places = model.fit(2)
        errors = model.standard_errors(method="non-linear", step_size=1e-7)
    stick = broken_stick(x, y, intercept=True)

    assert np.isclose(stick.knees[0], places[1], rtol=1e-4)
    assert np.allclose(stick.slopes, model.slopes, rtol=1e-4)
    assert np.isclose(np.sqrt(stick.covariance[3, 3]), errors[-1], rtol=1e-2)


def test_piecewise_regression_finds_the_same_knee() -> None:
    """piecewise-regression (MIT), Muggeo's method: place and its standard error."""
    library = pytest.importorskip("piecewise_regression")
    x, y = bent(2)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        np.random.seed(1)  # noqa: NPY002 - the library draws from the global generator
        model = library.Fit(list(x), list(y), n_breakpoints=1, start_values=[0.4], n_boot=0)
    found = model.get_results()["estimates"]["breakpoint1"]
    stick = broken_stick(x, y, intercept=True)

    assert np.isclose(stick.knees[0], found["estimate"], rtol=1e-4)
    assert np.isclose(np.sqrt(stick.covariance[3, 3]), found["se"], rtol=1e-3)


def test_an_exact_knee_comes_back_exactly() -> None:
    x = np.linspace(0.05, 1.0, 20)
    stick = broken_stick(x, Knee(1800.0, 500.0, 0.31).force(x))

    assert np.allclose((*stick.slopes, *stick.knees), (1800.0, 500.0, 0.31), rtol=1e-9)


def test_two_knees_come_back() -> None:
    x = np.linspace(0.02, 1.2, 60)
    law = TwoKnees(2400.0, 700.0, 1900.0, 0.21, 0.83)
    stick = two_knees(x, law.force(x))

    assert np.allclose((*stick.slopes, *stick.knees), tuple(law.parameters.values()), rtol=1e-6)


@pytest.mark.parametrize("seed", range(3))
def test_ten_times_the_noise_gives_ten_times_the_error(seed: int) -> None:
    x, clean = bent(seed, noise=0.0)
    noise = np.random.default_rng(seed + 50).standard_normal(x.size)
    small, large = (broken_stick(x, clean + s * noise) for s in (0.1, 1.0))

    assert np.allclose(np.sqrt(np.diag(large.covariance) / np.diag(small.covariance)), 10.0, rtol=0.05)


def test_the_interval_holds_the_knee_as_often_as_it_says() -> None:
    """300 draws: 95 % wanted; 91 to 98 % is what chance allows (binomial, 99.9 %)."""
    from tuner.estimates import student_95

    hits = 0
    for seed in range(300):
        stick = broken_stick(*bent(seed, noise=12.0))
        hits += abs(stick.knees[0] - 0.3) <= student_95(stick.df) * np.sqrt(stick.covariance[2, 2])

    assert 0.91 * 300 <= hits <= 0.98 * 300


def test_too_few_speeds_are_refused_in_one_sentence() -> None:
    with pytest.raises(FitError, match="2 different speeds"):
        broken_stick(np.array([0.1, 0.2, 0.2]), np.array([1.0, 2.0, 2.1]))
