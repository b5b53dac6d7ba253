"""Motion ratio tables of lever linkages whose geometry is known: value, honest intervals, the prior's width."""

import numpy as np
import pytest
from numpy.polynomial import legendre

from tuner.errors import MachineError
from tuner.estimates import NORMAL_95, Estimate
from tuner.machine import Corner, MotionRatio, motion_ratio_at, wheel_rate
from tuner.machine.linkage import _CURVATURE, smooth_table
from tuner.units import GRAVITY

ARM = 0.5  # m, pivot to wheel


class Lever:
    """A swinging arm with a damper from a point on it to the frame, by plain trigonometry."""

    def __init__(self, rng: np.random.Generator) -> None:
        while True:
            self.mount = rng.uniform(0.3, 0.45)
            self.frame = rng.uniform([0.1, 0.3], [0.35, 0.5])
            self.start, self.end = rng.uniform(-0.5, -0.2), rng.uniform(0.15, 0.45)
            self.travel = ARM * (np.sin(self.end) - np.sin(self.start))
            ratio = np.gradient(self.damper(np.linspace(0, self.travel, 201)), self.travel / 200)
            if ratio.min() > 0.3 and ratio.max() < 1.1:
                return

    def damper(self, wheel):
        def length(angle):
            return np.hypot(
                self.mount * np.cos(angle) - self.frame[0], self.mount * np.sin(angle) - self.frame[1]
            )

        return length(self.start) - length(np.arcsin(np.asarray(wheel) / ARM + np.sin(self.start)))

    def slopes(self, wheel, h=1e-4):
        s = self.damper(np.array([wheel - h, wheel, wheel + h]))
        return (s[2] - s[0]) / (2 * h), (s[2] - 2 * s[1] + s[0]) / h**2


def resting(ratio: MotionRatio, static: float) -> Corner:
    return Corner(
        name="front",
        sprung_mass=Estimate.exact(92.0, "kg"),
        spring_rate=Estimate.exact(28e3, "N/m"),
        motion_ratio=ratio,
        static_travel=Estimate.exact(static, "m"),
    )


def trial(rng, rows, noise, rounding):
    """Give (wheel rate, ratio) estimates and truths for one drawn lever, None where the noise made a table fall."""
    lever = Lever(rng)
    wheel = np.linspace(0.0, lever.travel, rows)
    exact = lever.damper(wheel)
    read = exact + rng.normal(0.0, noise / NORMAL_95, rows) * (np.arange(rows) > 0) if noise else exact
    if rounding:
        read = np.round(read / rounding) * rounding
    if (np.diff(read) <= 0).any():
        return None
    place = float(rng.uniform(0.3, 0.5)) * lever.travel
    corner = resting(
        MotionRatio(None, wheel, read, damper_half=np.full(rows, noise)), float(lever.damper(place))
    )
    r, change = lever.slopes(place)
    return wheel_rate(corner), 28e3 * r**2 + 92.0 * GRAVITY / r * change, motion_ratio_at(corner), r


def trials(count, *settings):
    rng = np.random.default_rng(11)
    return [t for t in (trial(rng, *settings) for _ in range(count)) if t is not None]


@pytest.mark.parametrize("rows", [5, 11, 21])
def test_exact_tables_of_levers(rows):
    found = trials(40, rows, 0.0, 0.0)
    assert max(abs(rate.value / truth - 1) for rate, truth, _, _ in found) < 4e-3
    assert max(abs(ratio.value / truth - 1) for _, _, ratio, truth in found) < 1e-3


@pytest.mark.parametrize(
    ("rows", "noise", "rounding"), [(11, 1e-3, 0.0), (7, 0.0, 1e-3), (6, 1e-3, 0.0), (21, 1e-3, 1e-3)]
)
def test_rough_tables_have_honest_intervals(rows, noise, rounding):
    # readings that are 1 mm uncertain, or rounded to whole millimetres without saying so
    found = trials(120, rows, noise, rounding)
    assert len(found) > 100
    assert np.mean([rate.contains(truth) for rate, truth, _, _ in found]) >= 0.91
    assert np.mean([ratio.contains(truth) for _, _, ratio, truth in found]) >= 0.91
    # and not honest by being useless: the wheel rate within 6 % at most
    assert np.median([rate.high / rate.value - 1 for rate, _, _, _ in found]) < 0.06


def test_prior_is_wider_than_what_levers_do():
    rng = np.random.default_rng(12)
    bends = []
    for _ in range(200):
        lever = Lever(rng)
        x = np.linspace(-1.0, 1.0, 101)
        series = legendre.legfit(x, lever.damper(0.5 * (x + 1.0) * lever.travel), 7)
        bends.append(series[2:6] / (0.5 * lever.damper(lever.travel)))
    spread = np.sqrt(np.mean(np.square(bends), axis=0))
    assert (np.array(_CURVATURE) > 3.0 * spread).all()


def test_few_rows_widen_the_rate():
    lever = Lever(np.random.default_rng(3))
    widths = []
    for rows in (2, 3, 5, 9):
        wheel = np.linspace(0.0, lever.travel, rows)
        table = MotionRatio(None, wheel, lever.damper(wheel))
        widths.append(wheel_rate(resting(table, float(lever.damper(0.4 * lever.travel)))).log_sd)
    assert widths == sorted(widths, reverse=True)
    assert widths[0] > 0.02  # two rows say next to nothing of how the ratio changes


def test_rest_uncertainty_moves_along_the_table():
    wheel = np.linspace(0.0, 0.2, 21)
    damper = 0.6 * wheel + 0.8 * wheel**2
    sure = resting(MotionRatio(None, wheel, damper), 0.06)
    unsure = Corner(
        name="front",
        sprung_mass=sure.sprung_mass,
        spring_rate=sure.spring_rate,
        motion_ratio=sure.motion_ratio,
        static_travel=Estimate(0.06, 0.05, 0.07, "m"),
    )
    # ds = 10 mm at a ratio r is dz = 10 mm / r, over which the ratio changes by 1.6 dz
    r = motion_ratio_at(sure).value
    expected = 1.6 * 0.010 / r
    assert motion_ratio_at(unsure).high - r == pytest.approx(expected, rel=0.1)


@pytest.mark.parametrize(
    ("wheel", "damper", "words"),
    [
        ([0.0], [0.0], "at least two rows"),
        ([0.0, 0.1, 0.1], [0.0, 0.05, 0.1], "wheel travel .* rising"),
        ([0.0, 0.1, 0.2], [0.0, 0.05, 0.04], "damper travel .* rising"),
        ([0.0, 0.1], [-0.1, 0.0], "zero or positive"),
        ([0.0, 0.1, 0.2], [0.0, 0.05], "3 numbers long"),
        ([0.0, np.nan], [0.0, 0.05], "finite"),
    ],
)
def test_tables_that_cannot_be(wheel, damper, words):
    with pytest.raises(MachineError, match=words):
        MotionRatio(None, np.array(wheel), np.array(damper))


def test_a_jagged_table_is_refused():
    jagged = MotionRatio(None, np.array([0.0, 0.19, 0.2, 0.21]), np.array([0.0, 0.001, 0.2, 0.201]))
    with pytest.raises(MachineError, match="rise smoothly") as refusal:
        smooth_table(jagged)
    assert "misread" in refusal.value.hint


def test_tables_are_values():
    rows = np.linspace(0, 0.2, 4)
    one, other = MotionRatio(None, rows, 0.7 * rows), MotionRatio(None, rows.copy(), 0.7 * rows)
    assert one == other
    assert hash(one) == hash(other)
    assert one != MotionRatio(None, rows, 0.71 * rows)
    with pytest.raises(ValueError, match="read-only"):
        one.wheel[0] = 1.0
