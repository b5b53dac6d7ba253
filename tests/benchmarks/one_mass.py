"""The fit that a builder's spreadsheet would do: one mass on a spring, no tyre. Shown beside the real one.

Takes ring-downs of body acceleration; gives both damping ratios with Wald intervals.

Half swings in closed form (damping and dry friction of one side each), all ring-downs together with shared frequency,
ratios and friction, many starts, scipy's least squares.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares


@dataclass(frozen=True)
class OneMass:
    """Ratios and their standard deviations."""

    compression: float
    rebound: float
    compression_sd: float
    rebound_sd: float


def acceleration(
    time: np.ndarray, omega: float, zeta_c: float, zeta_r: float, friction: float, w: float, v: float
) -> np.ndarray:
    """Acceleration of the body, + up, for compression w and its speed v at time 0."""
    out = np.zeros(len(time))
    start, end = 0.0, float(time[-1])
    for _ in range(200):
        sign = 1.0 if v > 0 else -1.0 if v < 0 else (-1.0 if w > 0 else 1.0)
        if abs(v) < 1e-12 and abs(omega**2 * w) <= friction:
            break
        zeta = zeta_c if sign > 0 else zeta_r
        rest = -sign * friction / omega**2
        root = np.sqrt(complex(zeta**2 - 1.0) + 1e-14)
        a, b = omega * (-zeta + root), omega * (-zeta - root)
        x = w - rest
        p, q = (v - b * x) / (a - b), (a * x - v) / (a - b)
        if abs(root.imag) > 0:
            # first instant at which the speed vanishes
            wd = omega * root.imag
            tangent = v / (zeta * omega * v + omega**2 * x)
            turn = np.arctan(tangent * wd) / wd
            turn = turn if turn > 1e-9 else turn + np.pi / wd
        else:
            with np.errstate(all="ignore"):
                turn = float(np.log((-q * b / (p * a)).real) / (a - b).real) if (p * a).real != 0 else np.inf
            turn = turn if np.isfinite(turn) and turn > 1e-9 else np.inf
        inside = (time >= start) & (time < start + turn)
        t = time[inside] - start
        out[inside] = -(p * a**2 * np.exp(a * t) + q * b**2 * np.exp(b * t)).real
        start += turn
        if start >= end:
            break
        w, v = float((rest + p * np.exp(a * turn) + q * np.exp(b * turn)).real), 0.0
    return out


def fit_one_mass(rows: list[tuple[np.ndarray, np.ndarray]], frequency: float) -> OneMass:
    """Fit (time, acceleration) ring-downs; `frequency` [Hz] is a first guess."""

    def residual(x: np.ndarray) -> np.ndarray:
        omega, zeta_c, zeta_r, friction = np.exp(x[:4])
        parts = [
            value - x[4] - acceleration(time, omega, zeta_c, zeta_r, friction, *x[5 + 2 * k : 7 + 2 * k])
            for k, (time, value) in enumerate(rows)
        ]
        return np.concatenate(parts)

    low = np.concatenate([np.log([3.0, 0.01, 0.01, 1e-3]), [-2.0], np.tile([-0.5, -3.0], len(rows))])
    high = np.concatenate([np.log([40.0, 2.0, 2.0, 5.0]), [2.0], np.tile([0.5, 3.0], len(rows))])
    best = None
    omega = 2 * np.pi * frequency
    for zeta_c in (0.2, 0.6):
        for zeta_r in (0.2, 0.6):
            starts = np.concatenate([[value[0] / omega**2, 0.0] for _, value in rows])
            x0 = np.concatenate([np.log([omega, zeta_c, zeta_r, 0.2]), [0.0], starts])
            found = least_squares(
                residual, np.clip(x0, low + 1e-6, high - 1e-6), bounds=(low, high), max_nfev=40
            )
            if best is None or found.cost < best.cost:
                best = found
    assert best is not None
    variance = 2.0 * best.cost / max(len(best.fun) - len(best.x), 1)
    covariance = variance * np.linalg.pinv(best.jac.T @ best.jac)
    ratio = np.exp(best.x[1:3])
    sd = ratio * np.sqrt(np.diag(covariance)[1:3])
    return OneMass(float(ratio[0]), float(ratio[1]), float(sd[0]), float(sd[1]))
