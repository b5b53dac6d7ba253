"""The fitting tools against published and certified values; each source stands beside its check."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from tuner.fitting import fit
from tuner.fitting.choice import fit_power
from tuner.fitting.knee import broken_stick
from tuner.fitting.regression import covariance_at, gauss_newton, linear_fit
from tuner.records import CycleRecord, CycleTest
from tuner.signals.differentiate import derivative_weights, even_derivative

Array = np.ndarray


def close(value: float, wanted: float, relative: float = 1e-6) -> bool:
    return math.isclose(value, wanted, rel_tol=relative)


# --- certified regression, NIST Statistical Reference Datasets (public domain) ---


def test_line_through_the_origin_noint1() -> None:
    """NIST StRD, Linear Regression, NoInt1: b = 2.07438016528926 (251/121), SE 0.0165289256198347."""
    x, y = np.arange(60.0, 71.0), np.arange(130.0, 141.0)
    answer = linear_fit(x[:, None], y)

    assert close(answer.coefficients[0], 2.07438016528926, 1e-12)
    assert close(answer.coefficients[0], 251.0 / 121.0, 1e-13)
    assert close(answer.standard_errors[0], 0.0165289256198347, 1e-12)
    assert close(answer.rss, 127.272727272727, 1e-11)
    assert close(math.sqrt(answer.rss / answer.df), 3.56753034006338, 1e-11)
    assert answer.df == 10


def norris() -> tuple[Array, Array]:
    """Read the 36 points of Norris.dat from scipy's own test data (BSD-3; NIST StRD)."""
    import scipy.stats

    path = Path(scipy.stats.__file__).parent / "tests" / "data" / "nist_linregress" / "Norris.dat"
    if not path.exists():
        pytest.skip("this scipy carries no test data")
    rows = [line.split() for line in path.read_text().splitlines()[60:]]
    pairs = np.array([[float(a) for a in row] for row in rows if len(row) == 2])
    return pairs[:, 1], pairs[:, 0]


def test_line_with_intercept_norris() -> None:
    """NIST StRD, Norris: friction + viscous, F = F0 + c v."""
    x, y = norris()
    answer = linear_fit(np.column_stack((np.ones_like(x), x)), y)

    assert x.size == 36
    assert close(answer.coefficients[0], -0.262323073774029, 1e-10)
    assert close(answer.coefficients[1], 1.00211681802045, 1e-12)
    assert close(answer.standard_errors[0], 0.232818234301152, 1e-10)
    assert close(answer.standard_errors[1], 0.429796848199937e-03, 1e-10)
    assert close(math.sqrt(answer.rss / answer.df), 0.884796396144373, 1e-10)


def saturating(x: Array) -> Callable[[Array], tuple[Array, Array]]:
    """Misra1a and BoxBOD: b1 (1 - exp(-b2 x))."""

    def model(b: Array) -> tuple[Array, Array]:
        decay = np.exp(-b[1] * x)
        return b[0] * (1 - decay), np.column_stack((1 - decay, b[0] * x * decay))

    return model


def misra1b(x: Array) -> Callable[[Array], tuple[Array, Array]]:
    """b1 (1 - (1 + b2 x / 2)^-2)."""

    def model(b: Array) -> tuple[Array, Array]:
        base = 1 + b[1] * x / 2
        return b[0] * (1 - base**-2), np.column_stack((1 - base**-2, b[0] * x * base**-3))

    return model


MISRA_X = np.array(
    [77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0]
)
MISRA_Y = np.array(
    [10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78]
)
BOX_X, BOX_Y = np.array([1.0, 2, 3, 5, 7, 10]), np.array([109.0, 149, 149, 191, 213, 224])


@pytest.mark.parametrize(
    ("model", "x", "y", "start", "values", "errors"),
    [
        # NIST StRD, Nonlinear Regression, certified values and standard deviations
        (
            saturating,
            MISRA_X,
            MISRA_Y,
            (250.0, 0.0005),
            (238.94212918, 5.5015643181e-4),
            (2.7070075241, 7.2668688436e-6),
        ),
        (
            misra1b,
            MISRA_X,
            MISRA_Y,
            (300.0, 0.0002),
            (337.99746163, 3.9039091287e-4),
            (3.1643950207, 4.2547321834e-6),
        ),
        (
            saturating,
            BOX_X,
            BOX_Y,
            (100.0, 0.75),
            (213.80940889, 0.54723748542),
            (12.354515176, 0.10455993237),
        ),
    ],
    ids=["Misra1a", "Misra1b", "BoxBOD"],
)
def test_nonlinear_least_squares_reaches_the_certified_values(
    model: Callable[[Array], Callable[[Array], tuple[Array, Array]]],
    x: Array,
    y: Array,
    start: tuple[float, ...],
    values: tuple[float, ...],
    errors: tuple[float, ...],
) -> None:
    point, residuals, jacobian = gauss_newton(model(x), np.array(start), y)
    covariance, _ = covariance_at(jacobian, residuals)

    assert np.allclose(point, values, rtol=1e-6, atol=0)
    assert np.allclose(np.sqrt(np.diag(covariance)), errors, rtol=1e-6, atol=0)


def test_misra1a_residual_sum_of_squares() -> None:
    """NIST StRD Misra1a: RSS 0.12455138894."""
    _, residuals, _ = gauss_newton(saturating(MISRA_X), np.array([500.0, 0.0001]), MISRA_Y)

    assert close(float(residuals @ residuals), 0.12455138894, 1e-9)


# --- R's `cars` (50 pairs, Ezekiel 1930), fitted with R stats: lm and nls ---
# fmt: off
CARS_SPEED = np.array([
    4, 4, 7, 7, 8, 9, 10, 10, 10, 11, 11, 12, 12, 12, 12, 13, 13, 13, 13, 14, 14, 14, 14, 15, 15, 15, 16, 16, 17,
    17, 17, 18, 18, 18, 18, 19, 19, 19, 20, 20, 20, 20, 20, 22, 23, 24, 24, 24, 24, 25], dtype=float)
CARS_DISTANCE = np.array([
    2, 10, 4, 22, 16, 10, 18, 26, 34, 17, 28, 14, 20, 24, 28, 26, 34, 34, 46, 26, 36, 60, 80, 20, 26, 54, 32, 40,
    32, 40, 50, 42, 56, 76, 84, 36, 46, 68, 32, 48, 52, 56, 64, 66, 54, 70, 92, 93, 120, 85], dtype=float)
# fmt: on


def test_lines_on_noisy_data_as_in_r() -> None:
    origin = linear_fit(CARS_SPEED[:, None], CARS_DISTANCE)
    free = linear_fit(np.column_stack((np.ones_like(CARS_SPEED), CARS_SPEED)), CARS_DISTANCE)

    assert close(origin.coefficients[0], 2.90913214394, 1e-10)
    assert close(origin.standard_errors[0], 0.1413686375, 1e-8)
    assert np.allclose(free.coefficients, (-17.57909489, 3.93240875912), rtol=1e-9)
    assert np.allclose(free.standard_errors, (6.75844017, 0.415512776657), rtol=1e-8)


def test_power_law_is_fitted_in_force_units_as_in_r() -> None:
    """nls a v^b: 0.589668786 +- 0.335664452, 1.549293643 +- 0.192028991; a fit of logarithms gives another b.

    nls stops at a relative offset of 1e-5, so its digits hold to about that; scipy goes to the bottom.
    """
    from scipy.optimize import curve_fit

    point, residuals, jacobian = fit_power(CARS_SPEED, CARS_DISTANCE)
    covariance, _ = covariance_at(jacobian, residuals)
    on_logarithms = np.polyfit(np.log(CARS_SPEED), np.log(CARS_DISTANCE), 1)[0]

    exact, spread = curve_fit(
        lambda v, a, b: a * v**b, CARS_SPEED, CARS_DISTANCE, p0=(0.6, 1.5), xtol=1e-14, ftol=1e-14
    )

    assert np.allclose(point, (0.589668786, 1.549293643), rtol=1e-5)
    assert np.allclose(np.sqrt(np.diag(covariance)), (0.335664452, 0.192028991), rtol=1e-5)
    assert np.allclose(point, exact, rtol=1e-6)
    assert np.allclose(covariance, spread, rtol=1e-4)
    assert float(residuals @ residuals) <= float(
        np.sum((CARS_DISTANCE - exact[0] * CARS_SPEED ** exact[1]) ** 2)
    ) * (1 + 1e-12)
    assert abs(on_logarithms - point[1]) > 0.04


# --- broken stick: stagnant band height, x log flow rate, y log height. Bacon & Watts, Biometrika 58 (1971) 525-534,
# data by R. A. Cook; values by R segmented 1.6-2, pwlf 2.7.0 and piecewise-regression 1.5.0, which agree ---
# fmt: off
STAGNANT = np.array([
    (-0.8, 0.9), (0.01, 0.51), (-0.25, 0.65), (-0.25, 0.67), (-0.12, 0.6), (-0.12, 0.59), (-0.94, 0.92),
    (0.11, 0.43), (0.11, 0.43), (-0.63, 0.81), (-0.63, 0.83), (-1.39, 1.12), (-1.39, 1.12), (0.7, -0.13),
    (0.7, -0.14), (0.34, 0.25), (1.19, -0.65), (0.59, -0.01), (0.85, -0.3), (0.85, -0.33), (0.99, -0.46),
    (0.99, -0.43), (0.25, 0.33), (-1.08, 0.99), (-1.08, 1.03), (0.44, 0.13), (0.34, 0.24), (0.25, 0.3)])
# fmt: on


def test_knee_of_the_stagnant_band() -> None:
    stick = broken_stick(STAGNANT[:, 0], STAGNANT[:, 1], intercept=True)
    errors = np.sqrt(np.diag(stick.covariance))

    assert abs(stick.knees[0] - 0.04110578725) < 2e-8
    assert np.allclose(stick.slopes, (-0.4220768152, -1.020567545), atol=3e-8)
    assert abs(stick.intercept - 0.5446610776) < 1e-8
    assert np.allclose(errors, (0.0093802303, 0.0114873066, 0.0150679390, 0.0228348068), atol=1e-8)
    assert abs(stick.rss - 0.009140197232) < 1e-11
    assert stick.df == 24


def test_interval_of_that_knee() -> None:
    """95 % (t, 24 df): -0.006023 to 0.088234; slopes -0.445785 to -0.398368 and -1.051666 to -0.989469."""
    from tuner.estimates import Estimate

    stick = broken_stick(STAGNANT[:, 0], STAGNANT[:, 1], intercept=True)
    errors = np.sqrt(np.diag(stick.covariance))
    values = (*stick.slopes, *stick.knees)
    wanted = ((-0.445785, -0.398368), (-1.051666, -0.989469), (-0.006023, 0.088234))

    for value, error, (low, high) in zip(values, errors[1:], wanted, strict=True):
        estimate = Estimate.from_sd(value, float(error), "1", df=stick.df)
        assert math.isclose(estimate.low, low, abs_tol=1e-6)
        assert math.isclose(estimate.high, high, abs_tol=1e-6)


def test_the_knee_does_not_depend_on_the_order_or_the_scale_of_the_points() -> None:
    order = np.random.default_rng(3).permutation(28)
    one = broken_stick(STAGNANT[:, 0], STAGNANT[:, 1], intercept=True)
    other = broken_stick(STAGNANT[order, 0] * 1000 + 5, STAGNANT[order, 1] * 0.01, intercept=True)

    assert close(other.knees[0], one.knees[0] * 1000 + 5, 1e-9)
    assert close(other.slopes[1], one.slopes[1] * 1e-5, 1e-9)


# --- equivalent viscous damping of x = X sin(omega t): W = pi c omega X^2, D. S. Stutts, "Equivalent Viscous
# Damping" (2009); friction 4F/(pi omega X), ibid. eq. 12; (8/3 pi) a omega X, Den Hartog, from memory ---
AMPLITUDE, OMEGA = 0.03, 4.0 * math.pi


@pytest.mark.parametrize(
    ("force", "wanted"),
    [
        (lambda v: 1000.0 * v, 1000.0),
        (lambda v: 250.0 * v * np.abs(v), 80.0),
        (lambda v: 80.0 * np.sign(v), 270.1898),
    ],
    ids=["viscous", "quadratic", "friction"],
)
def test_equivalent_damping_of_a_measured_cycle(force: Callable[[Array], Array], wanted: float) -> None:
    time = np.arange(0.0, 3.0, 0.0005)
    travel, velocity = 0.1 - AMPLITUDE * np.cos(OMEGA * time), AMPLITUDE * OMEGA * np.sin(OMEGA * time)
    energy = fit(CycleRecord((CycleTest(time, travel, force(velocity)),))).energy_per_cycle

    assert energy is not None
    assert close(energy.value / (math.pi * OMEGA * AMPLITUDE**2), wanted, 1e-3)


# --- bench practice ---


def bench(stroke: float, per_minute: float, compression: float, rebound: float) -> CycleRecord:
    """Make a record of a linear damper with these peak forces [N]."""
    omega = 2 * math.pi * per_minute / 60
    time = np.arange(0, 6 * 2 * math.pi / omega, 0.002)
    peak = 0.5 * stroke * omega
    velocity = peak * np.sin(omega * time)
    force = np.where(velocity > 0, compression, rebound) * velocity / peak
    return CycleRecord((CycleTest(time, 0.1 - 0.5 * stroke * np.cos(omega * time), force),))


@pytest.mark.parametrize(("compression", "rebound"), [(300.0, 900.0), (235.0, 1316.0)])
def test_the_standard_cycle_is_a_point_on_the_curve(compression: float, rebound: float) -> None:
    """QC/T 545-1999: 100 mm, 100 cycles/min give 0.5236 m/s, the "0.52 m/s" of its next line.

    v = pi S n, the peak of a sine; the secant of a peak force [N] is that force over this speed, by definition.
    """
    answer = fit(bench(0.100, 100.0, compression, rebound))

    assert answer.energy_speed is not None
    assert close(answer.energy_speed, 0.5236, 1e-3)
    for side, peak in ((answer.compression, compression), (answer.rebound, rebound)):
        assert side.law is not None
        assert side.speed_range is not None
        assert close(side.speed_range[1], 0.5236, 1e-3)
        assert close(float(side.law.force(0.5236)), peak, 2e-3)
        assert close(float(side.law.secant(0.5236)), peak / 0.5236, 2e-3)
        assert side.secant_at(0.52) is not None


def test_energy_per_cycle_of_a_linear_damper() -> None:
    """W = pi c omega X^2 (Stutts), compression and rebound half a cycle each."""
    answer = fit(bench(0.080, 60.0, 250.0, 750.0))
    omega = 2 * math.pi
    wanted = 0.5 * math.pi * omega * 0.04**2 * (250.0 + 750.0) / (0.04 * omega)

    assert answer.energy_per_cycle is not None
    assert close(answer.energy_per_cycle.value, wanted, 1e-3)


def test_gas_force_is_told_from_damping() -> None:
    """Polytropic gas spring, p0 1.5 MPa, V0 60 cm3, rod 12 mm, n 1.3: 158.1864 N extended, 181.4845 N at 50 mm.

    The two forces are a self-made check of F = (p0 (V0/(V0 - A x))^n - p_atm) A (Bauer, Hydropneumatic Suspension
    Systems); the fit knows nothing of the formula.
    """
    area = math.pi * 0.012**2 / 4

    def gas(x: Array) -> Array:
        return (1.5e6 * (60e-6 / (60e-6 - area * x)) ** 1.3 - 101_325.0) * area

    assert close(float(gas(np.array(0.0))), 158.1864)
    assert close(float(gas(np.array(0.05))), 181.4845)
    tests = []
    for peak in (0.01, 0.13, 0.52):
        omega = peak / 0.04
        time = np.arange(0, 4 * 2 * math.pi / omega, 2 * math.pi / omega / 600)
        x, v = 0.05 - 0.04 * np.cos(omega * time), peak * np.sin(omega * time)
        tests.append(CycleTest(time, x, np.where(v > 0, 900 * v, 2100 * v) + gas(x) + 12 * np.sign(v)))
    answer = fit(CycleRecord(tuple(tests)))

    assert answer.gas_force is not None
    assert answer.friction is not None
    assert abs(answer.gas_force.value - 181.4845) < 0.5
    assert abs(answer.friction.value - 12) < 0.5


# --- Savitzky-Golay weights: the fractions, Savitzky & Golay, Analytical Chemistry 36 (1964), as corrected ---


@pytest.mark.parametrize(
    ("points", "order", "derivative", "norm", "wanted"),
    [
        (5, 2, 0, 35, (-3, 12, 17, 12, -3)),
        (7, 2, 0, 21, (-2, 3, 6, 7, 6, 3, -2)),
        (5, 2, 1, 10, (-2, -1, 0, 1, 2)),
        (7, 2, 1, 28, (-3, -2, -1, 0, 1, 2, 3)),
        (9, 2, 1, 60, (-4, -3, -2, -1, 0, 1, 2, 3, 4)),
        (5, 3, 1, 12, (1, -8, 0, 8, -1)),
        (7, 3, 1, 252, (22, -67, -58, 0, 58, 67, -22)),
    ],
)
def test_savitzky_golay_weights(
    points: int, order: int, derivative: int, norm: int, wanted: tuple[int, ...]
) -> None:
    weights = derivative_weights(points, order, derivative)

    assert np.allclose(norm * weights, wanted, atol=1e-12)


def test_a_cubic_is_differentiated_without_error_up_to_the_ends() -> None:
    time = np.linspace(0.0, 1.0, 101)
    travel = 0.03 + 0.2 * time - 0.7 * time**2 + 0.5 * time**3

    slope = even_derivative(travel, 0.01, 9, order=3)

    assert np.allclose(slope, 0.2 - 1.4 * time + 1.5 * time**2, atol=1e-11)
