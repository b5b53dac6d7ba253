"""From weighted draws to what the builder reads: ratios, damping at the shaft, frequency, tyre, friction, modes.

Takes the posterior, the motion of the best vector and a corner or None; gives side fits and measured values.
Uses: estimates, laws, machine, posterior, problem, fitting.results.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from tuner.estimates import Array, Estimate, Note
from tuner.fitting.bounce.posterior import Posterior
from tuner.fitting.bounce.problem import (
    FRICTION,
    KNEE_RATIO_C,
    KNEE_RATIO_R,
    KNEE_SPEED,
    MASS_RATIO,
    OMEGA,
    TYRE,
    TYRE_ZETA,
    ZETA_C,
    ZETA_R,
)
from tuner.fitting.results import REFERENCE_SPEEDS, Curve, Secant, SideFit
from tuner.laws import Knee, Law, Line
from tuner.records import Side

if TYPE_CHECKING:
    from tuner.machine import Corner

NOT_SEEN = 6.0  # a side whose 95 % interval spans more than this factor is not shown by the record
WIDE = 2.5
PITCH_DOUBT = (
    0.04  # relative sd of the mass that swings against the one on the scale; common practice, no source
)
MODE_DRAWS = 120
CURVE_POINTS = 40


@dataclass(frozen=True, slots=True)
class Seen:
    """What the used bounces showed of one side: highest shaft speed at the wheel [m/s], and how they were started."""

    peak_speed: float
    starts: frozenset[str]


def _positive(posterior: Posterior, logs: Array, unit: str) -> Estimate:
    low, middle, high = posterior.interval(logs)
    return Estimate(math.exp(middle), math.exp(low), math.exp(high), unit)


def _normal(rng: np.random.Generator, value: Estimate, count: int) -> Array:
    """Draws of the logarithm of a value that is known independently."""
    return math.log(value.value) + value.log_sd * rng.normal(size=count)


@dataclass(frozen=True, slots=True, eq=False)
class Answer:
    """Draws of everything, on logarithms where positive: shared parameters (n, shared), mass, motion ratio."""

    posterior: Posterior
    log_mass: Array | None
    log_ratio: Array | None

    @classmethod
    def of(cls, posterior: Posterior, corner: Corner | None) -> Answer:
        """Join the draws with what is known of mass and motion ratio.

        The mass that swings at one end differs from the one on the scale when the body's pitch inertia does not suit
        its wheelbase; wheel rate over the measured frequency squared tells it as well. Both are averaged.
        """
        if corner is None:
            return cls(posterior, None, None)
        from tuner.machine import motion_ratio_at, wheel_rate

        rng = np.random.default_rng(3)
        count = len(posterior.weight)
        weighed, rate = corner.sprung_mass, wheel_rate(corner)
        weight = rate.log_sd**2 / (rate.log_sd**2 + weighed.log_sd**2 + PITCH_DOUBT**2)
        scale = _normal(rng, weighed, count) + PITCH_DOUBT * rng.normal(size=count)
        spring = _normal(rng, rate, count) - 2.0 * posterior.shared[:, OMEGA]
        return cls(
            posterior,
            weight * scale + (1.0 - weight) * spring,
            _normal(rng, motion_ratio_at(corner), count),
        )

    def _log_zeta(self, side: Side, speed: float) -> Array:
        """Ratio as secant at a speed at the wheel, (n,) logarithms."""
        shared = self.posterior.shared
        zeta = shared[:, ZETA_C if side == "compression" else ZETA_R]
        if shared.shape[1] <= KNEE_SPEED:
            return zeta
        knee = np.exp(shared[:, KNEE_SPEED])
        ratio = np.exp(shared[:, KNEE_RATIO_C if side == "compression" else KNEE_RATIO_R])
        beyond = np.maximum(speed - knee, 0.0)
        return np.asarray(zeta + np.log((np.minimum(speed, knee) + ratio * beyond) / speed))

    def side(self, side: Side, seen: Seen) -> SideFit:
        """Give one side: its ratio, and with a known corner the damping at the shaft."""
        knee = self.posterior.shared.shape[1] > KNEE_SPEED
        usual = max(0.6 * seen.peak_speed, 0.02)
        zeta = _positive(self.posterior, self._log_zeta(side, usual), "1")
        if zeta.high > NOT_SEEN * zeta.low or seen.peak_speed < 1e-3:
            return SideFit(side, seen=False, notes=(_not_seen(side, seen),))
        notes: list[Note] = []
        if zeta.high > WIDE * zeta.low:
            notes.append(
                Note(
                    "hardly-seen",
                    f"the record shows {side} only in part: the ratio lies between {zeta.low:.2f} and {zeta.high:.2f}; "
                    + _remedy(side, seen),
                )
            )
        if knee:
            notes.append(
                Note(
                    "ratio-at-speed",
                    f"the damping of {side} changes with speed; its ratio is given at {usual:.2f} m/s at the wheel",
                )
            )
        fit = SideFit(side, seen=True, zeta=zeta, notes=tuple(notes))
        if self.log_mass is None or self.log_ratio is None:
            return fit
        return self._at_shaft(fit, seen)

    def _at_shaft(self, fit: SideFit, seen: Seen) -> SideFit:
        """Add the force law at the shaft: c = 2 zeta omega m / r**2."""
        assert self.log_mass is not None
        assert self.log_ratio is not None
        shared = self.posterior.shared
        ratio = math.exp(float(np.median(self.log_ratio)))
        peak = seen.peak_speed * ratio
        scale = math.log(2.0) + shared[:, OMEGA] + self.log_mass - 2.0 * self.log_ratio

        def secant_at(shaft_speed: float) -> Estimate:
            logs = scale + self._log_zeta(fit.side, shaft_speed / ratio)
            return _positive(self.posterior, logs, "N*s/m")

        secants = tuple(Secant(v, secant_at(v)) for v in REFERENCE_SPEEDS if v <= peak)
        law: Law
        if shared.shape[1] > KNEE_SPEED:
            slope = KNEE_RATIO_C if fit.side == "compression" else KNEE_RATIO_R
            low = scale + self._log_zeta(fit.side, 1e-6)
            parameters = {
                "c_low": _positive(self.posterior, low, "N*s/m"),
                "c_high": _positive(self.posterior, low + shared[:, slope], "N*s/m"),
                "v_knee": _positive(self.posterior, shared[:, KNEE_SPEED] + self.log_ratio, "m/s"),
            }
            law = Knee(*(parameters[name].value for name in ("c_low", "c_high", "v_knee")))
        else:
            parameters = {"c": secant_at(0.5 * peak)}
            law = Line(parameters["c"].value)
        speed = np.linspace(0.0, peak, CURVE_POINTS)
        band = [secant_at(v) for v in speed[1:].tolist()]
        curve = Curve(
            speed,
            np.concatenate([[0.0], [e.value * v for e, v in zip(band, speed[1:], strict=True)]]),
            np.concatenate([[0.0], [e.low * v for e, v in zip(band, speed[1:], strict=True)]]),
            np.concatenate([[0.0], [e.high * v for e, v in zip(band, speed[1:], strict=True)]]),
        )
        return replace(
            fit, law=law, parameters=parameters, secant=secants, speed_range=(0.0, peak), curve=curve
        )

    def friction(self) -> Estimate | None:
        """Dry friction at the wheel [N], None without a mass; a lower bound that hugs zero is zero."""
        if self.log_mass is None:
            return None
        return self._friction(np.exp(self.log_mass), "N")

    def _friction(self, mass: Array | float, unit: str) -> Estimate:
        draws = self.posterior.shared[:, FRICTION] ** 2 * mass
        low, middle, high = self.posterior.interval(draws)
        return Estimate(middle, 0.0 if low < 0.15 * middle else low, high, unit)

    def measured(self, *, true_length: bool) -> dict[str, Estimate]:
        """Give what the bounce says of the corner itself; `true_length` False: travel in unknown units."""
        shared, post = self.posterior.shared, self.posterior
        values = {
            "frequency": _positive(post, shared[:, OMEGA] - math.log(2.0 * math.pi), "Hz"),
            "tyre_ratio": _positive(post, shared[:, TYRE] - 2.0 * shared[:, OMEGA], "1"),
            "mass_ratio": _positive(post, shared[:, MASS_RATIO], "1"),
        }
        if true_length:
            values["friction_per_mass"] = self._friction(1.0, "m/s**2")
        if self.log_mass is not None:
            values["tyre_rate"] = _positive(post, shared[:, TYRE] + self.log_mass, "N/m")
            if true_length:
                values["friction"] = self._friction(np.exp(self.log_mass), "N")
        values.update(self._modes())
        return values

    def _modes(self) -> dict[str, Estimate]:
        """Exact ratios of body mode and wheel hop with the mean damping of both sides."""
        from tuner.machine import two_mass_modes

        rng = np.random.default_rng(4)
        post = self.posterior
        picked = rng.choice(len(post.weight), MODE_DRAWS, p=post.weight)
        rows = []
        for v in np.exp(post.shared[picked]):
            omega, mu, tau = float(v[OMEGA]), float(v[MASS_RATIO]), float(v[TYRE])
            damping = (float(v[ZETA_C]) + float(v[ZETA_R])) * omega
            beta = 2.0 * float(v[TYRE_ZETA]) * math.sqrt(tau * (1.0 + mu))
            modes = two_mass_modes(1.0, mu, omega**2, tau, damping, beta)
            rows.append((modes.body_frequency, modes.body_zeta, modes.hop_frequency, modes.hop_zeta))
        draws = np.array(rows)
        names = ("body_mode_frequency", "body_mode_zeta", "wheel_hop_frequency", "wheel_hop_zeta")
        units = ("Hz", "1", "Hz", "1")
        return {
            name: Estimate.from_draws(draws[:, k], unit)
            for k, (name, unit) in enumerate(zip(names, units, strict=True))
        }


def _remedy(side: Side, seen: Seen) -> str:
    wanted = "lift" if side == "compression" else "push"
    if wanted in seen.starts:
        return "bounce it harder and more often"
    return (
        "lift and drop instead of push and let go"
        if wanted == "lift"
        else "push down and let go instead of lift and drop"
    )


def _not_seen(side: Side, seen: Seen) -> Note:
    return Note("not-seen", f"{side} is not seen in this test; {_remedy(side, seen)}")
