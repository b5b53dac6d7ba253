"""The linear motions of a corner between two events: on the ground or in the air, slipping or held by friction.

Takes corners per unit of sprung mass; gives the rates, shapes and amplitudes of their exponentials, and how these
change with the corner's parameters. Uses: numpy.

The corner is a body on a linear spring, a damper with its own line on each side (or two lines that meet at a
knee) and dry friction that can stick, over a wheel on a tyre that cannot pull. All heights are counted from static
equilibrium, upwards; `w` = wheel height - body height is the compression at the wheel. Per unit of sprung mass,
with F the suspension force beyond its static value:
body   z'' = F,                       F = kappa w + gamma(w') w' + phi sign(w')
wheel  mu u'' = -F - tau u - beta u'  while u < (1 + mu) g / tau, else  mu u'' = -F - (1 + mu) g.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tuner.estimates import Array

Complex = NDArray[np.complex128]
Index = NDArray[np.intp]
Flags = NDArray[np.bool_]

GRAVITY = 9.80665  # standard gravity [m/s**2]
MOST_AVERAGED = 0.12
STUCK = 2  # the zone in which the shaft does not move
ZONES = 5  # rebound beyond the knee, rebound, stuck, compression, compression beyond the knee
SCAN_POINTS = 24  # looks at a stretch before it is taken on
SCAN_PER_PERIOD = 9.0  # looks per period of the fastest oscillation


@dataclass(frozen=True, slots=True, eq=False)
class Corners:
    """Many corners, every value per unit of sprung mass, each array (p,).

    kappa : wheel rate [1/s**2] > 0; gamma_c, gamma_r : damping at the wheel [1/s] > 0; phi : dry friction
    [m/s**2] >= 0; mu : unsprung over sprung mass > 0; tau : tyre rate [1/s**2] > 0; beta : tyre damping [1/s] >= 0;
    knee_c, knee_r : speed at the wheel from which gamma_c_high, gamma_r_high hold [m/s], infinite = no knee.
    """

    kappa: Array
    gamma_c: Array
    gamma_r: Array
    phi: Array
    mu: Array
    tau: Array
    beta: Array
    knee_c: Array
    knee_r: Array
    gamma_c_high: Array
    gamma_r_high: Array

    @classmethod
    def of(
        cls,
        *,
        kappa: Array | float,
        gamma_c: Array | float,
        gamma_r: Array | float,
        phi: Array | float,
        mu: Array | float,
        tau: Array | float,
        beta: Array | float = 0.0,
        knee_c: Array | float = math.inf,
        knee_r: Array | float = math.inf,
        gamma_c_high: Array | float | None = None,
        gamma_r_high: Array | float | None = None,
    ) -> Corners:
        """Give the corners of broadcast values."""
        high_c = gamma_c if gamma_c_high is None else gamma_c_high
        high_r = gamma_r if gamma_r_high is None else gamma_r_high
        given = (kappa, gamma_c, gamma_r, phi, mu, tau, beta, knee_c, knee_r, high_c, high_r)
        shape = np.broadcast_shapes(*(np.shape(value) for value in given), (1,))
        return cls(*(np.ascontiguousarray(np.broadcast_to(np.asarray(v, float), shape)) for v in given))

    def __len__(self) -> int:
        return len(self.kappa)

    @property
    def lift_height(self) -> Array:
        """Wheel height at which the tyre leaves the ground [m], (p,)."""
        return (1.0 + self.mu) * GRAVITY / self.tau

    @property
    def has_knee(self) -> bool:
        """Whether any corner has a knee."""
        return bool(np.isfinite(self.knee_c).any() or np.isfinite(self.knee_r).any())


@dataclass(frozen=True, slots=True, eq=False)
class Shapes:
    """What the motions consist of; first axis (f,) families, second (j,) exponentials.

    A stretch is w = centre + Re(sum p a e^(rate t)), u = (in the air a parabola +) Re(sum q a e^(rate t)); its watched
    value is watch0 + Re(sum watch a e^..): shaft speed, or when stuck the friction that holds it; body acceleration
    Re(sum out a e^..), less gravity in the air. a = solve (x - centre).
    """

    rate: Complex
    p: Complex
    q: Complex
    watch: Complex
    out: Complex
    shown: Complex  # p as a sensor shows it: averaged over neighbouring samples, as `out` is
    solve: Complex  # (f, j, 4) from w, w', u, u'
    centre: Array  # (f,) w of the fixed point, slipping
    low: Array  # (f,) zone of the watched value
    high: Array
    kappa: Array
    lift: Array


@dataclass(frozen=True, slots=True, eq=False)
class Families:
    """All motions of some corners; family index = (zone - first_zone) * grounds * p + in_air * p + corner."""

    shapes: Shapes
    weight: Array  # (f, j) 2 for one of a conjugate pair, 1 for a real rate, 0 for padding
    air: Flags
    stuck: Flags
    step: Array  # (f,) time between two looks
    table: Complex  # (f, SCAN_POINTS, j) e^(rate t) at the looks
    corners: Corners
    grounds: int
    first_zone: int
    blur: float

    def index(self, zone: Index, in_air: Flags, corner: Index) -> Index:
        """Family of that zone, ground and corner."""
        air = in_air.astype(np.intp) if self.grounds == 2 else 0
        return np.asarray(
            ((zone - self.first_zone) * self.grounds + air) * len(self.corners) + corner, dtype=np.intp
        )


def _law(corners: Corners, zone: int) -> tuple[Array, Array]:
    """Slope and offset of damping and friction in a zone of shaft speed, each (p,)."""
    c = corners
    if zone == 0:
        knee = np.where(np.isfinite(c.knee_r), c.knee_r, 0.0)
        return c.gamma_r_high, -c.phi - (c.gamma_r - c.gamma_r_high) * knee
    if zone == 1:
        return c.gamma_r, -c.phi
    if zone == 3:
        return c.gamma_c, c.phi
    knee = np.where(np.isfinite(c.knee_c), c.knee_c, 0.0)
    return c.gamma_c_high, c.phi + (c.gamma_c - c.gamma_c_high) * knee


def _polynomial(corners: Corners, zone: int, in_air: bool) -> Array:
    """Monic characteristic polynomial after the leading 1, (p, 2) or (p, 4), highest power first."""
    c = corners
    if zone == STUCK:
        return np.stack([c.beta, c.tau], axis=1) / (1.0 + c.mu)[:, None]
    gamma, _ = _law(c, zone)
    if in_air:
        return np.stack([gamma, c.kappa], axis=1) * (1.0 + 1.0 / c.mu)[:, None]
    rows = [
        c.beta + gamma + gamma * c.mu,
        c.tau + c.kappa + c.kappa * c.mu + gamma * c.beta,
        c.kappa * c.beta + gamma * c.tau,
        c.kappa * c.tau,
    ]
    return np.stack(rows, axis=1) / c.mu[:, None]


def _newton(polynomial: Array, roots: Complex, rounds: int) -> Complex:
    """Polish roots (p, j) of monic polynomials (p, d)."""
    scale = polynomial[:, -1] ** (1.0 / polynomial.shape[1])
    x = roots / scale[:, None]
    c = polynomial / scale[:, None] ** np.arange(1, polynomial.shape[1] + 1)
    for _ in range(rounds):
        value, slope = np.ones_like(x), np.zeros_like(x)
        for k in range(c.shape[1]):
            slope = slope * x + value
            value = value * x + c[:, k, None]
        good = np.abs(slope) > 1e-7
        x = np.where(good, x - value / np.where(good, slope, 1.0), x)
    return np.asarray(x * scale[:, None])


def _roots(polynomial: Array) -> tuple[Complex, Array]:
    """Roots with one of each conjugate pair, and their weights (p, d): 2 pair, 1 real, 0 left out (last)."""
    degree = polynomial.shape[1]
    scale = polynomial[:, -1] ** (1.0 / degree)
    if degree == 2:
        half = 0.5 * polynomial[:, 0]
        root = np.sqrt((half**2 - polynomial[:, 1]).astype(complex))
        # a double root has no two shapes: part it by a hair, far below anything that can be measured
        root = np.where(np.abs(root) < 1e-6 * scale, 1e-6 * scale, root)
        roots = np.stack([-half + root, -half - root], axis=1)
    else:
        companion = np.zeros((len(polynomial), degree, degree))
        companion[:, 0, :] = -polynomial / scale[:, None] ** np.arange(1, degree + 1)
        companion[:, np.arange(1, degree), np.arange(degree - 1)] = 1.0
        roots = _newton(polynomial, np.linalg.eigvals(companion).astype(complex) * scale[:, None], 2)
        order = np.argsort(roots.real + 1e-3 * np.abs(roots.imag), axis=1)
        roots = np.take_along_axis(roots, order, axis=1)
        close = np.abs(np.diff(roots, axis=1)) < 1e-6 * scale[:, None]
        roots[:, 1:] = np.where(close, roots[:, 1:] * (1.0 + 2e-6), roots[:, 1:])
    tiny = 1e-9 * np.abs(roots)
    weight = np.where(roots.imag > tiny, 2.0, np.where(roots.imag < -tiny, 0.0, 1.0))
    order = np.argsort(weight == 0.0, axis=1, kind="stable")
    weight = np.take_along_axis(weight, order, axis=1)
    roots = np.where(weight > 0, np.take_along_axis(roots, order, axis=1), -scale[:, None])
    return roots, weight


def _averaged(rate: Complex, blur: float) -> Complex:
    """By what averaging over neighbouring samples changes an exponential; `blur` = variance of their times / 2 [s**2].

    sinh(x)/x = 1 + x**2/6 + x**4/120 with x**2/6 = rate**2 blur; held near 1 for rates too fast for the samples.
    """
    part = rate**2 * blur
    size = np.abs(part)
    part = part * np.where(size > MOST_AVERAGED, MOST_AVERAGED / np.maximum(size, 1e-30), 1.0)
    return np.asarray(1.0 + part + 0.3 * part**2)


def _block(
    corners: Corners, zone: int, in_air: bool, rate: Complex, weight: Array, blur: float
) -> tuple[Array | Complex, ...]:
    """Shapes of one zone and ground from its rates; order of the fields of `Shapes`."""
    c, zero = corners, np.zeros(len(corners))
    used = weight > 0
    nothing = np.zeros_like(rate)
    solve = np.zeros((*rate.shape, 4), dtype=complex)
    lift = c.lift_height
    if zone == STUCK:
        if in_air:
            return (*(nothing,) * 6, solve, zero, -c.phi, c.phi, c.kappa, lift)
        one = np.where(used, 1.0 + 0j, 0.0)
        damping = (c.beta / (1.0 + c.mu))[:, None]
        gain = weight / (2.0 * rate + damping)
        solve[..., 2], solve[..., 3] = (rate + damping) * gain, gain
        swing = one * rate**2
        out = swing * _averaged(rate, blur)
        return rate, nothing, one, swing, out, nothing, solve, zero, -c.phi, c.phi, c.kappa, lift
    gamma, offset = _law(c, zone)
    kappa, mu, tau, beta = c.kappa[:, None], c.mu[:, None], c.tau[:, None], c.beta[:, None]
    pull = kappa + gamma[:, None] * rate
    one = np.where(used, 1.0 + 0j, 0.0)
    if in_air:
        q = -pull / (mu * rate**2)
        damping = (gamma * (1.0 + 1.0 / c.mu))[:, None]
        gain = weight / (2.0 * rate + damping)
        solve[..., 0], solve[..., 1] = (rate + damping) * gain, gain
        centre = -(offset + GRAVITY) / c.kappa
    else:
        tyre = mu * rate**2 + beta * rate + tau
        q = -pull / tyre
        second = -tyre / (tau + beta * rate)  # left shape, its last part set to 1
        first = -(second * (1.0 + mu) + 1.0) * kappa / (mu * rate)
        third = -(second + 1.0) * tau / (mu * rate)
        gain = weight / (first + second * rate + third * q + q * rate)
        solve[..., 0], solve[..., 1], solve[..., 2], solve[..., 3] = (
            first * gain,
            second * gain,
            third * gain,
            gain,
        )
        centre = -offset / c.kappa
    infinite = np.full(len(c), np.inf)
    borders = (
        (-infinite, -c.knee_r),
        (-c.knee_r, zero),
        (zero, zero),
        (zero, c.knee_c),
        (c.knee_c, infinite),
    )
    low, high = borders[zone]
    mean = one * _averaged(rate, blur)
    return rate, one, one * q, one * rate, mean * pull, mean, solve, centre, low, high, c.kappa, lift


def families_of(corners: Corners, *, may_lift: bool, blur: float = 0.0) -> Families:
    """Set up every motion of `corners`; `may_lift` False keeps the tyre glued to the ground (cheaper).

    blur : half the variance of the times of the samples that were averaged into one [s**2], 0 = none were.
    """
    count = len(corners)
    zones = range(ZONES) if corners.has_knee else range(1, ZONES - 1)
    grounds = (False, True) if may_lift else (False,)
    roots: list[Complex] = []
    weights: list[Array] = []
    for zone in zones:
        for in_air in grounds:
            if zone == STUCK and in_air:
                roots.append(np.full((count, 4), -1.0 + 0j))
                weights.append(np.zeros((count, 4)))
                continue
            found, weight = _roots(_polynomial(corners, zone, in_air))
            missing = 4 - found.shape[1]
            roots.append(np.pad(found, ((0, 0), (0, missing)), constant_values=-1.0))
            weights.append(np.pad(weight, ((0, 0), (0, missing))))
    width = max(int((weight > 0).sum(axis=1).max()) for weight in weights)
    rate = np.concatenate([found[:, :width] for found in roots])
    weight = np.concatenate([found[:, :width] for found in weights])
    shapes = _shapes(corners, zones, grounds, rate, weight, blur)
    if not may_lift:
        shapes.lift[:] = np.inf
    copies = len(zones) * len(grounds)
    fastest = np.where(weight > 0, np.abs(rate.imag), 0.0).max(axis=1)
    slowest = np.tile(np.sqrt(corners.kappa), copies)
    step = 2.0 * np.pi / (SCAN_PER_PERIOD * np.maximum(fastest, 2.0 * slowest))
    looks = step[:, None] * np.arange(1, SCAN_POINTS + 1)
    return Families(
        shapes=shapes,
        weight=weight,
        air=np.repeat(np.tile(np.array(grounds), len(zones)), count),
        stuck=np.repeat(np.array([zone == STUCK for zone in zones for _ in grounds]), count),
        step=step,
        table=np.exp(rate[:, None, :] * looks[:, :, None]),
        corners=corners,
        grounds=len(grounds),
        first_zone=zones[0],
        blur=blur,
    )


def _shapes(
    corners: Corners, zones: range, grounds: tuple[bool, ...], rate: Complex, weight: Array, blur: float
) -> Shapes:
    count = len(corners)
    blocks = []
    for k, (zone, in_air) in enumerate((zone, in_air) for zone in zones for in_air in grounds):
        part = slice(k * count, (k + 1) * count)
        blocks.append(_block(corners, zone, in_air, rate[part], weight[part], blur))
    return Shapes(*(np.concatenate(column) for column in zip(*blocks, strict=True)))


def nearby(families: Families, changed: Corners, parameters: int, step: float) -> Shapes:
    """Differentiate the shapes by central differences, each array (f, parameters, ...).

    changed : (2 * parameters * p,) all corners with the first parameter up by `step`, then with the second ..., then
    all with the first down by it, and so on. Rates are found by Newton's method from the old ones, so that every
    exponential keeps its place.
    """
    count = len(families.corners)
    zones = range(families.first_zone, ZONES - families.first_zone)
    grounds = (False, True)[: families.grounds]
    blocks = []
    for k, (zone, in_air) in enumerate((zone, in_air) for zone in zones for in_air in grounds):
        part = slice(k * count, (k + 1) * count)
        weight = np.tile(families.weight[part], (2 * parameters, 1))
        rate = np.tile(families.shapes.rate[part], (2 * parameters, 1))
        if not (zone == STUCK and in_air):
            moved = _newton(_polynomial(changed, zone, in_air), rate, 3)
            rate = np.where(weight > 0, moved, rate)
        blocks.append(_block(changed, zone, in_air, rate, weight, families.blur))
    quotients: list[Any] = []
    for place, field in enumerate(fields(Shapes)):
        if field.name == "lift" and families.grounds == 1:
            quotients.append(np.zeros((len(families.air), parameters)))
            continue
        columns = [block[place].reshape(2, parameters, count, *block[place].shape[1:]) for block in blocks]
        up, down = np.concatenate(columns, axis=2).swapaxes(1, 2)
        with np.errstate(invalid="ignore"):
            quotient = (up - down) / (2.0 * step)
        quotients.append(np.where(np.isnan(quotient), 0.0, quotient))
    return Shapes(*quotients)


def no_slopes(shapes: Shapes) -> Shapes:
    """Give derivatives by no parameter at all, each array (f, 0, ...)."""
    return Shapes(*(getattr(shapes, f.name)[:, None][:, :0] for f in fields(Shapes)))
