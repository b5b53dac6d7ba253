"""The linear motions of a corner between two events: on the ground or in the air, friction slipping or holding.

Takes corners per unit of sprung mass; gives the rates, shapes and amplitudes of their exponentials, and how these
change with the corner's parameters.

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
from tuner.fitting.bounce.exponentials import Complex, averaged, polished, rates_of, waves

Index = NDArray[np.intp]
Flags = NDArray[np.bool_]

GRAVITY = 9.80665  # standard gravity [m/s**2]
STATES = 5  # w, w', u, u', s
# zones: 2 * level + 1 where friction holds, 2 * level where it slips; level 0 rebound beyond the knee, 1 rebound,
# 2 compression, 3 compression beyond the knee
LEVELS = 4
REST = 2 * LEVELS  # held for good: the mean damping of both sides stands for either
SLIPPING, HOLDING = (0, 2, 4, 6), (1, 3, 5, 7, REST)
KNEELESS = frozenset((2, 3, 4, 5, REST))
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
        values = np.empty((len(given), *shape))
        for row, value in zip(values, given, strict=True):
            row[:] = value
        return cls(*values)

    def tiled(self, times: int) -> Corners:
        """All of them, so many times in a row."""
        return Corners(*np.tile(np.stack([getattr(self, f.name) for f in fields(Corners)]), times))

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
    """What the motions consist of; first axis (f,) families, last (j,) exponentials.

    A stretch is w, w', u, u', s = Re(sum state a e^(rate t)) + centre to w, + slip to s, in the air + a parabola to u;
    body acceleration Re(sum out a e^(rate t)), less gravity in the air. a = solve (x - centre).
    """

    rate: Complex
    state: Complex  # (f, 5, j) what w, w', u, u', s have of each exponential
    out: Complex
    shown: Complex  # w as a sensor shows it: averaged over neighbouring samples, as `out` is
    solve: Complex  # (f, 5, j) from w, w', u, u', s
    centre: Array  # (f,) w of the fixed point
    low: Array  # (f,) shaft speeds of the zone
    high: Array
    slip: Array  # friction while it slips, 0 while it holds
    limit: Array  # friction at which it begins to slip, infinite where it cannot
    lift: Array


@dataclass(frozen=True, slots=True, eq=False)
class Families:
    """All motions of some corners; family index = place[zone, in_air] * p + corner."""

    shapes: Shapes
    weight: Array  # (f, j) 2 for one of a conjugate pair, 1 for a real rate, 0 for padding
    air: Flags
    step: Array  # (f,) time between two looks
    looks: Array  # (f, SCAN_POINTS) when they are
    pairs: int  # only so many exponentials, the first ones, are complex
    table: Array  # (f, SCAN_POINTS, j + pairs) `waves` at the looks
    corners: Corners
    grounds: int
    place: Index
    groups: tuple[_Group, ...]
    blur: float

    def index(self, zone: Index, in_air: Flags, corner: Index) -> Index:
        """Family of that zone, ground and corner."""
        return np.asarray(
            self.place[zone, in_air.astype(np.intp)] * len(self.corners) + corner, dtype=np.intp
        )


@dataclass(frozen=True, slots=True)
class _Group:
    """Zones whose motions have shapes of one kind."""

    zones: tuple[int, ...]
    held: bool
    in_air: bool


def holds(zone: Index) -> Flags:
    """Say whether friction holds in a zone."""
    return np.asarray((zone % 2 == 1) | (zone == REST))


@dataclass(frozen=True, slots=True, eq=False)
class _Laws:
    """Damping and friction of the corners of a group, zone by zone, each (zones * p,), and the speeds of the zones."""

    corners: Corners
    gamma: Array
    offset: Array
    slip: Array
    low: Array
    high: Array
    limit: Array

    @classmethod
    def of(cls, corners: Corners, group: _Group) -> _Laws:
        c, zero, infinite = corners, np.zeros(len(corners)), np.full(len(corners), np.inf)
        knee_c = np.where(np.isfinite(c.knee_c), c.knee_c, 0.0)
        knee_r = np.where(np.isfinite(c.knee_r), c.knee_r, 0.0)
        slow, slip, limit = (zero, zero, c.phi) if group.held else (c.creep, c.phi, infinite)
        levels = (
            (c.gamma_r_high, -(c.gamma_r - c.gamma_r_high) * knee_r, -slip, -infinite, -c.knee_r, limit),
            (c.gamma_r, zero, -slip, -c.knee_r, -slow, limit),
            (c.gamma_c, zero, slip, slow, c.knee_c, limit),
            (c.gamma_c_high, (c.gamma_c - c.gamma_c_high) * knee_c, slip, c.knee_c, infinite, limit),
            (0.5 * (c.gamma_c + c.gamma_r), zero, zero, -infinite, infinite, infinite),
        )
        columns = zip(*(levels[zone // 2] for zone in group.zones), strict=True)
        return cls(c.tiled(len(group.zones)), *(np.concatenate(column) for column in columns))


def _polynomial(laws: _Laws, group: _Group) -> Array:
    """Monic characteristic polynomial after the leading 1, (p, degree), highest power first.

    With D = mu x**2 + beta x + tau of wheel and tyre and P = kappa + gamma x + stiffness x / (x + relax) of the
    suspension: x**2 D + P (D + x**2) = 0 on the ground, x**2 + P (1 + 1/mu) = 0 in the air, cleared of the fraction.
    """
    c, gamma = laws.corners, laws.gamma
    both = 1.0 + c.mu
    if not group.held:
        if group.in_air:
            return np.stack([gamma, c.kappa], axis=1) * (both / c.mu)[:, None]
        rows = [
            c.beta + gamma * both,
            c.tau + c.kappa * both + gamma * c.beta,
            c.kappa * c.beta + gamma * c.tau,
            c.kappa * c.tau,
        ]
        return np.stack(rows, axis=1) / c.mu[:, None]
    relax = c.creep / c.wind
    middle, last = c.kappa + gamma * relax + c.phi / c.wind, c.kappa * relax
    if group.in_air:
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


def _block(laws: _Laws, group: _Group, rate: Complex, weight: Array, blur: float) -> tuple[Any, ...]:
    """Shapes of a group from its rates; order of the fields of `Shapes`."""
    c = laws.corners
    solve = np.zeros((len(rate), STATES, rate.shape[1]), dtype=complex)
    kappa, mu, tau, beta = c.kappa[:, None], c.mu[:, None], c.tau[:, None], c.beta[:, None]
    one = np.where(weight > 0, 1.0 + 0j, 0.0)
    hold = fifth = np.zeros_like(rate)
    if group.held:
        # a padded rate must not meet the one of creep
        relaxing: Complex = np.where(weight > 0, rate + (c.creep / c.wind)[:, None], 1.0)
        hold = one * (c.phi / c.wind)[:, None] * rate / relaxing
    pull = kappa + laws.gamma[:, None] * rate + hold
    centre = -(laws.offset + laws.slip) / c.kappa
    if group.in_air:
        q = -pull / (mu * rate**2)
        lighter = 1.0 + 1.0 / mu
        first = -lighter * kappa / rate
        if group.held:
            fifth = -lighter / relaxing
        gain = weight / np.where(weight > 0, first + rate + fifth * hold, 1.0)
        solve[:, 0], solve[:, 1], solve[:, 4] = first * gain, gain, fifth * gain
        centre = centre - GRAVITY / c.kappa
    else:
        tyre = mu * rate**2 + beta * rate + tau
        q = -pull / tyre
        second = -tyre / (tau + beta * rate)  # left shape, its fourth part set to 1
        force = (second * (1.0 + mu) + 1.0) / mu
        first = -force * kappa / rate
        third = -(second + 1.0) * tau / (mu * rate)
        if group.held:
            fifth = -force / relaxing
        norm = first + second * rate + third * q + q * rate + fifth * hold
        gain = weight / np.where(weight > 0, norm, 1.0)
        for place, part in enumerate((first, second, third, one, fifth)):
            solve[:, place] = part * gain
    mean = one * averaged(rate, blur)
    q = one * q
    return (
        rate,
        np.stack([one, one * rate, q, q * rate, hold], axis=1),
        mean * pull,
        mean,
        solve,
        centre,
        laws.low,
        laws.high,
        laws.slip,
        laws.limit,
        c.lift_height,
    )


def families_of(corners: Corners, *, may_lift: bool, blur: float = 0.0) -> Families:
    """Set up every motion of `corners`; `may_lift` False keeps the tyre glued to the ground (cheaper).

    blur : half the variance of the times of the samples that were averaged into one [s**2], 0 = none were.
    """
    grounds = (False, True) if may_lift else (False,)
    groups = tuple(
        _Group(tuple(zone for zone in zones if corners.has_knee or zone in KNEELESS), held, in_air)
        for zones, held in ((SLIPPING, False), (HOLDING, True))
        for in_air in grounds
    )
    place = np.zeros((REST + 1, 2), dtype=np.intp)
    count = 0
    blocks, weights = [], []
    for group in groups:
        place[list(group.zones), int(group.in_air)] = count + np.arange(len(group.zones))
        count += len(group.zones)
        laws = _Laws.of(corners, group)
        rate, weight = rates_of(_polynomial(laws, group))
        missing = STATES - rate.shape[1]
        rate = np.pad(rate, ((0, 0), (0, missing)), constant_values=-1.0)
        weight = np.pad(weight, ((0, 0), (0, missing)))
        blocks.append(_block(laws, group, rate, weight, blur))
        weights.append(weight)
    weight = np.concatenate(weights)
    width = int((weight > 0).sum(axis=1).max())
    columns = (np.concatenate(column) for column in zip(*blocks, strict=True))
    shapes = Shapes(*(c if c.ndim == 1 else np.ascontiguousarray(c[..., :width]) for c in columns))
    weight = weight[:, :width]
    if not may_lift:
        shapes.lift[:] = np.inf
    fastest = np.where(weight > 0, np.abs(shapes.rate.imag), 0.0).max(axis=1)
    step = 2.0 * np.pi / (SCAN_PER_PERIOD * np.maximum(fastest, 2.0 * np.tile(np.sqrt(corners.kappa), count)))
    looks = step[:, None] * np.arange(1, SCAN_POINTS + 1)
    air = np.concatenate([np.full(len(group.zones) * len(corners), group.in_air) for group in groups])
    pairs = int((weight > 1).sum(axis=1).max())
    table = waves(shapes.rate[:, None, :], looks, pairs)
    return Families(
        shapes, weight, air, step, looks, pairs, table, corners, len(grounds), place, groups, blur
    )


def nearby(families: Families, changed: Corners, parameters: int, step: float) -> Shapes:
    """Differentiate the shapes by central differences, each array (f, parameters, ...).

    changed : (2 * parameters * p,) all corners with the first parameter up by `step`, then with the second ..., then
    all with the first down by it, and so on. Rates are found by Newton's method from the old ones, so that every
    exponential keeps its place.
    """
    count, width = len(families.corners), families.weight.shape[1]
    first = 0
    columns: list[list[Any]] = [[] for _ in fields(Shapes)]
    for group in families.groups:
        zones = len(group.zones)
        part = slice(first, first + zones * count)
        first += zones * count
        copies = (zones, 2 * parameters, count, width)
        weight: Array = np.broadcast_to(
            families.weight[part].reshape(zones, 1, count, width), copies
        ).reshape(-1, width)
        rate: Complex = np.broadcast_to(
            families.shapes.rate[part].reshape(zones, 1, count, width), copies
        ).reshape(-1, width)
        laws = _Laws.of(changed, group)
        rate = np.where(weight > 0, polished(_polynomial(laws, group), rate, 3), rate)
        for column, value in zip(columns, _block(laws, group, rate, weight, families.blur), strict=True):
            up, down = value.reshape(zones, 2, parameters, count, *value.shape[1:]).swapaxes(0, 1)
            with np.errstate(invalid="ignore"):
                quotient = ((up - down) / (2.0 * step)).swapaxes(1, 2)
            column.append(quotient.reshape(zones * count, parameters, *value.shape[1:]))
    quotients: list[Any] = [np.concatenate(column) for column in columns]
    for quotient in quotients[-5:]:  # what has no limit keeps having none
        quotient[np.isnan(quotient)] = 0.0
    if families.grounds == 1:
        quotients[-1] = np.zeros_like(quotients[-1])
    return Shapes(*quotients)


def no_slopes(shapes: Shapes) -> Shapes:
    """Give derivatives by no parameter at all, each array (f, 0, ...)."""
    return Shapes(*(getattr(shapes, f.name)[:, None][:, :0] for f in fields(Shapes)))
