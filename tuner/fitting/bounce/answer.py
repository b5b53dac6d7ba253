"""From weighted draws to what the builder reads: ratios, damping at the shaft, frequency, tyre, friction, modes.

Takes the posterior, the motion of the best vector and a corner or None; gives side fits and measured values.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from tuner.estimates import Array, Estimate, Note
from tuner.fitting.bounce.motion import Quantity
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
    0.06  # relative sd of the mass that swings against the one on the scale; common practice, no source
)
INPUT_DOUBT = 0.15  # of the frequency, where spring, ratio or mass were given wrong
WRONG_INPUT = 0.05  # share of corners whose spring, ratio or mass is given wrong; a judgement, no source
NOTED_SWING = 0.03
HARDLY = 0.0005  # a dead stroke that may be shorter than this may be none [m]
# what one corner with one kind of friction leaves out of a whole machine, as relative sd of the ratio: pitch, hands,
# where the phone lies, bends; and of the friction's own force at the speed of the side, how differently another kind
# of friction acts. Set on random half cars of tests/benchmarks/whole_machines (seeds 5000 to 5049), no source
LEFT_OUT = 0.03
OTHER_FRICTION: Mapping[Quantity, float] = {"acceleration": 0.15, "travel": 0.22}
HIDDEN = 1.5  # of what the damping takes in a swing, from which friction hides a side
MUCH_FRICTION = 0.15  # of what the damping takes in a swing, from which it is named; a judgement, no source
MODE_DRAWS = 120
CURVE_POINTS = 40


@dataclass(frozen=True, slots=True)
class Seen:
    """What the used bounces showed of one side: speeds of the shaft at the wheel [m/s], and how they were started.

    peak_speed : the highest; speed : the one the damping belongs to.
    """

    peak_speed: float
    speed: float
    starts: frozenset[str]


def _positive(posterior: Posterior, logs: Array, unit: str) -> Estimate:
    low, middle, high = posterior.interval(logs)
    return Estimate(math.exp(middle), math.exp(low), math.exp(high), unit)


def _normal(rng: np.random.Generator, value: Estimate, count: int) -> Array:
    """Draws of the logarithm of a value that is known independently."""
    return math.log(value.value) + value.log_sd * rng.normal(size=count)


@dataclass(frozen=True, slots=True, eq=False)
class Answer:
    """Draws of everything, on logarithms where positive: shared parameters (n, shared), mass, motion ratio.

    log_swing : of the mass that swings at this end over the one on the scale. common_sd : what of the ratio's doubt
    every bounce of this corner has in common [-].
    """

    posterior: Posterior
    quantity: Quantity
    log_swing: Array
    common_sd: float
    log_mass: Array | None = None
    log_ratio: Array | None = None
    log_left: Array | float = (
        0.0  # what the model leaves out of the ratio of the side that is asked for, (n,)
    )
    log_soft: Array | None = None  # (n, 2) dead strokes of compression and rebound at the wheel [m]
    moves: str = (
        "wheel"  # what the lengths and speeds are of: the shaft where no motion ratio leads to the wheel
    )

    @classmethod
    def of(
        cls, posterior: Posterior, quantity: Quantity, corner: Corner | None, log_soft: Array | None = None
    ) -> Answer:
        """Join the draws with what is known of mass, spring and motion ratio.

        A body whose pitch inertia does not suit its wheelbase swings at one end as if it were lighter or heavier there
        than on the scale. The frequency tells it where spring and mass are known better than that: prior draws of
        mass, wheel rate and swing are shifted by their regression on the frequency that was seen, unless this lies so
        far off that an input must be wrong, which bends nothing.
        """
        rng = np.random.default_rng(3)
        count = len(posterior.weight)
        log_swing = PITCH_DOUBT * rng.normal(size=count)
        if corner is None:
            return cls(posterior, quantity, log_swing, 0.5 * PITCH_DOUBT, log_soft=log_soft)
        from tuner.machine import motion_ratio_at, wheel_rate

        weighed, rate = corner.sprung_mass, wheel_rate(corner)
        log_mass, log_rate = (_normal(rng, value, count) for value in (weighed, rate))
        variance = 0.25 * (weighed.log_sd**2 + rate.log_sd**2 + PITCH_DOUBT**2)
        seen = posterior.shared[:, OMEGA]
        off = seen - 0.5 * (log_rate - log_mass - log_swing)
        gap = seen - 0.5 * math.log(rate.value / weighed.value)
        right, wrong = ((1.0 - WRONG_INPUT, variance), (WRONG_INPUT, variance + INPUT_DOUBT**2))
        density = [share / math.sqrt(v) * np.exp(-0.5 * gap**2 / v) for share, v in (right, wrong)]
        believed = rng.uniform(size=count) * (density[0] + density[1]) < density[0]
        off = np.where(believed, off, 0.0)
        trust = float(posterior.weight @ believed)
        left = 1.0 - trust * 0.25 * PITCH_DOUBT**2 / variance
        return cls(
            posterior,
            quantity,
            log_swing - 0.5 * PITCH_DOUBT**2 / variance * off,
            0.5 * PITCH_DOUBT * math.sqrt(left),
            log_mass - 0.5 * weighed.log_sd**2 / variance * off,
            _normal(rng, motion_ratio_at(corner), count),
            log_soft=log_soft,
        )

    @property
    def notes(self) -> tuple[Note, ...]:
        """Say when the ratio is not simply the one of the mass that swung."""
        swing = math.exp(self.posterior.interval(self.log_swing)[1])
        if self.log_mass is None or abs(math.log(swing)) < NOTED_SWING:
            return ()
        return (Note("swing-mass", swing=swing - 1.0),)

    def _left_out(self, side: Side, speed: float) -> Array:
        """Draw what the model leaves out of the ratio of a side that is shown at a speed at the wheel, (n,) logarithms.

        Damping is told from friction by how both change with speed: as far as friction may act otherwise, its force is
        taken for damping, which matters where it is not small beside the damping's own.
        """
        shared = self.posterior.shared
        zeta = shared[:, ZETA_C if side == "compression" else ZETA_R]
        share = shared[:, FRICTION] ** 2 / (2.0 * np.exp(zeta + shared[:, OMEGA]) * speed)
        normal = np.random.default_rng(6 if side == "compression" else 7).normal(size=len(share))
        return np.asarray(np.hypot(LEFT_OUT, OTHER_FRICTION[self.quantity] * share) * normal)

    def _log_zeta(self, side: Side, speed: float) -> Array:
        """Handbook ratio, of the weighed mass, as secant at a speed at the wheel, (n,) logarithms.

        c = 2 zeta omega m of the mass that swings, over 2 sqrt(k m) of the weighed one.
        """
        shared = self.posterior.shared
        zeta = shared[:, ZETA_C if side == "compression" else ZETA_R] + 0.5 * self.log_swing + self.log_left
        if shared.shape[1] <= KNEE_SPEED:
            return zeta
        knee = np.exp(shared[:, KNEE_SPEED])
        ratio = np.exp(shared[:, KNEE_RATIO_C if side == "compression" else KNEE_RATIO_R])
        beyond = np.maximum(speed - knee, 0.0)
        return np.asarray(zeta + np.log((np.minimum(speed, knee) + ratio * beyond) / speed))

    def side(self, side: Side, seen: Seen) -> SideFit:
        """Give one side: its ratio, and with a known corner the damping at the shaft."""
        knee = self.posterior.shared.shape[1] > KNEE_SPEED
        usual = seen.speed
        if seen.peak_speed < 1e-3 or seen.speed == 0.0:  # between two samples nothing was seen either
            return SideFit(side, seen=False, notes=(_not_seen(side, seen),))
        answer = replace(self, log_left=self._left_out(side, usual))
        zeta = _positive(self.posterior, answer._log_zeta(side, usual), "1")
        share = self._friction_share(zeta, seen)
        if zeta.high > NOT_SEEN * zeta.low or share > HIDDEN:
            return SideFit(side, seen=False, notes=(_not_seen(side, seen),))
        notes: list[Note] = []
        if zeta.high > WIDE * zeta.low:
            notes.append(Note("hardly-seen", side=side, zeta=zeta, remedy=_remedy(side, seen)))
        if share > MUCH_FRICTION:
            notes.append(Note("friction-matters", side=side, share=share, remedy=_remedy(side, seen)))
        # a sensor on the shaft tells its speed without a motion ratio
        known = self.log_ratio is not None or self.moves == "shaft"
        to_shaft = 1.0 if self.log_ratio is None else math.exp(float(np.median(self.log_ratio)))
        if knee:
            speed = Estimate.exact(usual, "m/s")
            shaft = None if self.log_ratio is None else speed.scaled(to_shaft)
            notes.append(Note("ratio-at-speed", side=side, speed=speed, moves=self.moves, shaft=shaft))
        fit = SideFit(
            side,
            seen=True,
            zeta=zeta,
            zeta_speed=usual * to_shaft if known else None,
            zeta_common=self.common_sd,
            notes=tuple(notes),
        )
        if self.log_mass is None or self.log_ratio is None:
            return fit
        return answer._at_shaft(fit, seen)

    def _friction_share(self, zeta: Estimate, seen: Seen) -> float:
        friction = self._friction(1.0, "m/s**2").value
        omega = math.exp(self.posterior.interval(self.posterior.shared[:, OMEGA])[1])
        return friction_share(friction, omega, zeta.value, seen.peak_speed)

    def _at_shaft(self, fit: SideFit, seen: Seen) -> SideFit:
        """Add the force law at the shaft: c = 2 zeta sqrt(k m) / r**2, sqrt(k) = omega sqrt(mass that swings)."""
        assert self.log_mass is not None
        assert self.log_ratio is not None
        shared = self.posterior.shared
        ratio = math.exp(float(np.median(self.log_ratio)))
        peak = seen.peak_speed * ratio
        scale = math.log(2.0) + shared[:, OMEGA] + self.log_mass + 0.5 * self.log_swing - 2.0 * self.log_ratio

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
            fit,
            law=law,
            parameters=parameters,
            secant=secants,
            speed_range=(0.0, peak),
            curve=curve,
            dead_stroke=self._dead_stroke(fit.side),
        )

    def _dead_stroke(self, side: Side) -> Estimate | None:
        """Shaft travel after a reversal in which the damper does not hold [m]; one that may be none reaches to 0."""
        if self.log_soft is None or self.log_ratio is None:
            return None
        logs = self.log_soft[:, 0 if side == "compression" else 1] + self.log_ratio
        length = _positive(self.posterior, logs, "m")
        return length if length.low > HARDLY else replace(length, low=0.0)

    def friction(self) -> Estimate | None:
        """Dry friction at the wheel [N], None without a mass; a lower bound that hugs zero is zero."""
        if self.log_mass is None:
            return None
        return self._friction(np.exp(self.log_mass + self.log_swing), "N")

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
            values["tyre_rate"] = _positive(post, shared[:, TYRE] + self.log_mass + self.log_swing, "N/m")
            if true_length:
                values["friction"] = self._friction(np.exp(self.log_mass + self.log_swing), "N")
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


def friction_share(friction: float, omega: float, zeta: float, peak: float) -> float:
    """Work of dry friction over that of the damping in a swing: 4 F X over pi c v X.

    friction : over the mass [m/s**2]; omega [rad/s]; zeta > 0; peak : highest speed [m/s] > 0.
    """
    return 4.0 * friction / (math.pi * 2.0 * zeta * omega * peak)


def _remedy(side: Side, seen: Seen) -> str:
    """Name how to bounce so that the side is seen: another way, or harder."""
    wanted = "lift" if side == "compression" else "push"
    return "harder" if wanted in seen.starts else wanted


def _not_seen(side: Side, seen: Seen) -> Note:
    return Note("not-seen", case="bounce", side=side, remedy=_remedy(side, seen))
