"""The linear motions of a corner between two events: on the ground or in the air, friction slipping or holding.

Takes corners per unit of sprung mass; gives the rates, shapes and amplitudes of their exponentials, and how these
change with the corner's parameters. Uses: numpy.

The corner is a body on a linear spring, a damper with its own line on each side (or two lines that meet at a knee) and
dry friction, over a wheel on a tyre that cannot pull. All heights are counted from static equilibrium, upwards;
`w` = wheel height - body height is the compression at the wheel. Per unit of sprung mass, with F the suspension force
beyond its static value and s the friction in it:
body   z'' = F,                       F = kappa w + gamma(w') w' + s
wheel  mu u'' = -F - tau u - beta u'  while u < (1 + mu) g / tau, else  mu u'' = -F - (1 + mu) g.
Friction is a slider that creeps, behind a spring: while it holds, s' = (phi / wind) (w' - creep s / phi); once
abs(s) = phi it slips, until abs(w') < creep. `wind` -> 0 is friction that only creeps, `creep` -> 0 one that only winds
up, both -> 0 one that sticks (a Maxwell element with a limit; elements of this kind are usual for friction before
slip: Al-Bender, Lampaert & Swevers, *IEEE Transactions on Automatic Control* 50, 2005, from memory).
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
STATES = 5  # w, w', u, u', s
# zones: 2 * level + 1 where friction holds, 2 * level where it slips; level 0 rebound beyond the knee, 1 rebound,
# 2 compression, 3 compression beyond the knee
LEVELS = 4
REST = 2 * LEVELS  # held for good: the mean damping of both sides stands for either
KNEELESS = (2, 3, 4, 5, REST)
SCAN_POINTS = 24  # looks at a stretch before it is taken on
SCAN_PER_PERIOD = 9.0  # looks per period of the fastest oscillation


@dataclass(frozen=True, slots=True, eq=False)
class Corners:
    """Many corners, every value per unit of sprung mass, each array (p,).

    kappa : wheel rate [1/s**2] > 0; gamma_c, gamma_r : damping at the wheel [1/s] > 0; phi : dry friction
    [m/s**2] > 0; creep : speed at the wheel at which it slips [m/s] > 0; wind : how far it winds up before, without
    creep [m] > 0; mu : unsprung over sprung mass > 0; tau : tyre rate [1/s**2] > 0; beta : tyre damping [1/s] >= 0;
    knee_c, knee_r : speed at the wheel from which gamma_c_high, gamma_r_high hold [m/s], infinite = no knee.
    """

    kappa: Array
    gamma_c: Array
    gamma_r: Array
    phi: Array
    creep: Array
    wind: Array
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
        creep: Array | float,
        wind: Array | float,
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
        given = (kappa, gamma_c, gamma_r, phi, creep, wind, mu, tau, beta, knee_c, knee_r, high_c, high_r)
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

    A stretch is w = centre + Re(sum p a e^(rate t)), u = (in the air a parabola +) Re(sum q a e^(rate t)), where friction
    holds s = Re(sum hold a e^(rate t)), where it slips s = slip; body acceleration Re(sum out a e^..), less gravity in
    the air. a = solve (x - centre).
    """

    rate: Complex
    p: Complex
    q: Complex
    hold: Complex
    out: Complex
    shown: Complex  # p as a sensor shows it: averaged over neighbouring samples, as `out` is
    solve: Complex  # (f, j, 5) from w, w', u, u', s
    centre: Array  # (f,) w of the fixed point
    low: Array  # (f,) shaft speeds of the zone
    high: Array
    slip: Array  # friction while it slips, 0 while it holds
    limit: Array  # friction at which it begins to slip, infinite where it cannot
    lift: Array


@dataclass(frozen=True, slots=True, eq=False)
class Families:
    """All motions of some corners; family index = ((place of the zone) * grounds + in_air) * p + corner."""

    shapes: Shapes
    weight: Array  # (f, j) 2 for one of a conjugate pair, 1 for a real rate, 0 for padding
    air: Flags
    step: Array  # (f,) time between two looks
    table: Complex  # (f, SCAN_POINTS, j) e^(rate t) at the looks
    corners: Corners
    grounds: int
    zones: tuple[int, ...]
    blur: float

    def index(self, zone: Index, in_air: Flags, corner: Index) -> Index:
        """Family of that zone, ground and corner."""
        place = np.zeros(REST + 1, dtype=np.intp)
        place[list(self.zones)] = np.arange(len(self.zones))
        air = in_air.astype(np.intp) if self.grounds == 2 else 0
        return np.asarray((place[zone] * self.grounds + air) * len(self.corners) + corner, dtype=np.intp)


def holds(zone: Index) -> Flags:
    """Say whether friction holds in a zone."""
    return np.asarray((zone % 2 == 1) | (zone == REST))


def _law(corners: Corners, zone: int) -> tuple[Array, Array]:
    """Slope and offset of the damping in a zone, friction apart, each (p,)."""
    c = corners
    if zone == REST:
        return 0.5 * (c.gamma_c + c.gamma_r), np.zeros(len(c))
    level = zone // 2
    if level == 0:
        knee = np.where(np.isfinite(c.knee_r), c.knee_r, 0.0)
        return c.gamma_r_high, -(c.gamma_r - c.gamma_r_high) * knee
    if level == LEVELS - 1:
        knee = np.where(np.isfinite(c.knee_c), c.knee_c, 0.0)
        return c.gamma_c_high, (c.gamma_c - c.gamma_c_high) * knee
    return (c.gamma_r if level == 1 else c.gamma_c), np.zeros(len(c))


def _polynomial(corners: Corners, zone: int, in_air: bool) -> Array:
    """Monic characteristic polynomial after the leading 1, (p, degree), highest power first.

    With D = mu x**2 + beta x + tau of wheel and tyre and P = kappa + gamma x + stiffness x / (x + relax) of the
    suspension: x**2 D + P (D + x**2) = 0 on the ground, x**2 + P (1 + 1/mu) = 0 in the air, cleared of the fraction.
    """
    c = corners
    gamma, _ = _law(c, zone)
    if not holds(np.array(zone)):
        if in_air:
            return np.stack([gamma, c.kappa], axis=1) * (1.0 + 1.0 / c.mu)[:, None]
        rows = [
            c.beta + gamma + gamma * c.mu,
            c.tau + c.kappa + c.kappa * c.mu + gamma * c.beta,
            c.kappa * c.beta + gamma * c.tau,
            c.kappa * c.tau,
        ]
        return np.stack(rows, axis=1) / c.mu[:, None]
    relax = c.creep / c.wind
    middle, last = c.kappa + gamma * relax + c.phi / c.wind, c.kappa * relax
    both = 1.0 + c.mu
    if in_air:
        lighter = both / c.mu
        return np.stack([relax + gamma * lighter, middle * lighter, last * lighter], axis=1)
    rows = [
        c.beta + c.mu * relax + gamma * both,
        c.tau + c.beta * relax + gamma * c.beta + middle * both,
        c.tau * relax + gamma * c.tau + middle * c.beta + last * both,
        middle * c.tau + last * c.beta,
        last * c.tau,
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
    c, zero, infinite = corners, np.zeros(len(corners)), np.full(len(corners), np.inf)
    solve = np.zeros((*rate.shape, STATES), dtype=complex)
    held = bool(holds(np.array(zone)))
    gamma, offset = _law(c, zone)
    kappa, mu, tau, beta = c.kappa[:, None], c.mu[:, None], c.tau[:, None], c.beta[:, None]
    one = np.where(weight > 0, 1.0 + 0j, 0.0)
    hold = np.zeros_like(rate)
    if held:
        relaxing = rate + (c.creep / c.wind)[:, None]
        hold = one * (c.phi / c.wind)[:, None] * rate / relaxing
    pull = kappa + gamma[:, None] * rate + hold
    side = 0.0 if held else (1.0 if zone // 2 >= 2 else -1.0)
    slip = side * c.phi
    if in_air:
        q = -pull / (mu * rate**2)
        lighter = 1.0 + 1.0 / mu
        first = -lighter * kappa / rate
        gain = first + rate
        fifth = -lighter / relaxing if held else np.zeros_like(rate)
        gain = weight / (gain + fifth * hold)
        solve[..., 0], solve[..., 1], solve[..., 4] = first * gain, gain, fifth * gain
        centre = -(offset + slip + GRAVITY) / c.kappa
    else:
        tyre = mu * rate**2 + beta * rate + tau
        q = -pull / tyre
        second = -tyre / (tau + beta * rate)  # left shape, its fourth part set to 1
        force = (second * (1.0 + mu) + 1.0) / mu
        first = -force * kappa / rate
        third = -(second + 1.0) * tau / (mu * rate)
        fifth = -force / relaxing if held else np.zeros_like(rate)
        gain = weight / (first + second * rate + third * q + q * rate + fifth * hold)
        for place, part in enumerate((first, second, third, np.ones_like(rate), fifth)):
            solve[..., place] = part * gain
        centre = -(offset + slip) / c.kappa
    turn = np.zeros(len(c))
    slow, fast = (turn, c.knee_c) if held else (c.creep, c.knee_c)
    back = turn if held else -c.creep
    low, high = (
        (-infinite, infinite)
        if zone == REST
        else ((-infinite, -c.knee_r), (-c.knee_r, back), (slow, fast), (c.knee_c, infinite))[zone // 2]
    )
    limit = c.phi if held and zone != REST else infinite
    mean = one * _averaged(rate, blur)
    return rate, one, one * q, hold, mean * pull, mean, solve, centre, low, high, slip, limit, c.lift_height


def families_of(corners: Corners, *, may_lift: bool, blur: float = 0.0) -> Families:
    """Set up every motion of `corners`; `may_lift` False keeps the tyre glued to the ground (cheaper).

    blur : half the variance of the times of the samples that were averaged into one [s**2], 0 = none were.
    """
    count = len(corners)
    zones = tuple(range(REST + 1)) if corners.has_knee else KNEELESS
    grounds = (False, True) if may_lift else (False,)
    roots: list[Complex] = []
    weights: list[Array] = []
    for zone in zones:
        for in_air in grounds:
            found, weight = _roots(_polynomial(corners, zone, in_air))
            missing = STATES - found.shape[1]
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
        step=step,
        table=np.exp(rate[:, None, :] * looks[:, :, None]),
        corners=corners,
        grounds=len(grounds),
        zones=zones,
        blur=blur,
    )


def _shapes(
    corners: Corners, zones: tuple[int, ...], grounds: tuple[bool, ...], rate: Complex, weight: Array, blur: float
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
    zones = families.zones
    grounds = (False, True)[: families.grounds]
    blocks = []
    for k, (zone, in_air) in enumerate((zone, in_air) for zone in zones for in_air in grounds):
        part = slice(k * count, (k + 1) * count)
        weight = np.tile(families.weight[part], (2 * parameters, 1))
        rate = np.tile(families.shapes.rate[part], (2 * parameters, 1))
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
