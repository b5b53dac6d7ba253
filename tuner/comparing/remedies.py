"""What would make an open answer surer: each thing that can be done is tried on the numbers, the best is kept.

Takes both fits of a side and the corner; gives `Damping`, and `Remedy`s with the interval they would leave.

Three things can be done: read friction and gas force from a slow push and return on a scale, where points leave them
open; test each setting three times; measure the corner's mass, spring and motion ratio twice as well.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from tuner.comparing.change import common_sd, log_spread, own_zeta, ratio_at
from tuner.comparing.results import Remedy, RemedyKind
from tuner.comparing.verdict import Damping, excludes_one
from tuner.estimates import NORMAL_95, Estimate
from tuner.fitting.repeats import interval_factor
from tuner.fitting.results import SideFit
from tuner.judging import corner_factor
from tuner.machine import Corner

TIMES = 3  # how often each setting is tested when it is repeated
CORNER_BETTER = 0.5  # what a corner measured again leaves of its error; common practice, no source

Sds = tuple[float, float]  # what refitting adds to each run, relative


def damping_of(
    before: SideFit,
    after: SideFit,
    speed: float | None,
    corner: Corner | None,
    sds: Sds,
    *,
    corner_share: float = 1.0,
) -> Damping | None:
    """Give ln zeta of both with what is unsure, None where zeta or its interval on logarithms is unknown.

    `corner_share` : of the corner's error, what is left of it.
    """
    shared = 0.0
    shift = 0.0
    if speed is None:
        shared = max(before.zeta_common, after.zeta_common)
        pair = own_zeta(before), own_zeta(after)
    elif corner is None:
        return None
    else:
        factor = corner_factor(corner)
        shared, shift = factor.log_sd, math.log(factor.value)
        pair = before.secant_at(speed), after.secant_at(speed)
    one, other = pair
    if one is None or other is None or min(one.value, other.value) <= 0:
        return None
    common = 0.0 if speed is None else common_sd(before, after, speed)
    own = [
        math.hypot(math.sqrt(max(log_spread(e) ** 2 - common**2, 0.0)), sd)
        for e, sd in zip((one, other), sds, strict=True)
    ]
    shared = math.hypot(shared * corner_share, common)
    if not all(map(math.isfinite, (*own, shared))):
        return None
    return Damping(math.log(one.value) + shift, math.log(other.value) + shift, own[0], own[1], shared)


def _read(side: SideFit) -> SideFit:
    """Give a side as it would be with friction and gas force read on a scale."""
    offset, left = side.offset, side.offset_sd_read
    if offset is None or left is None:
        return side
    secants = []
    for s in side.secant:
        sd = s.c.upper_sd
        now = math.sqrt(max(sd**2 - s.per_offset**2 * (offset.sd**2 - left**2), (s.per_offset * left) ** 2))
        secants.append(replace(s, c=Estimate.from_sd(s.c.value, now, s.c.unit).not_negative()))
    return replace(side, secant=tuple(secants), offset=Estimate.from_sd(offset.value, left, offset.unit))


def _repeated(side: SideFit) -> SideFit:
    """Give a side as it would be with every setting tested three times: the scatter shrinks, what is open stays."""
    share = interval_factor(TIMES) / NORMAL_95 / math.sqrt(TIMES)
    secants = []
    for s in side.secant:
        sd = s.c.upper_sd
        scattered = s.scattered if side.offset is not None else sd
        now = math.sqrt(max(sd**2 - (1.0 - share**2) * scattered**2, 0.0))
        secants.append(
            replace(
                s, c=Estimate.from_sd(s.c.value, now, s.c.unit).not_negative(), scattered=share * s.scattered
            )
        )
    zeta = side.zeta
    if zeta is not None and math.isfinite(zeta.log_sd):
        own = math.sqrt(max(zeta.log_sd**2 - side.zeta_common**2, 0.0)) * share
        zeta = Estimate.from_log_sd(zeta.value, math.hypot(own, side.zeta_common), zeta.unit)
    return replace(side, secant=tuple(secants), zeta=zeta)


def best_remedy(
    before: SideFit, after: SideFit, speed: float | None, corner: Corner | None, sds: Sds
) -> tuple[Remedy, ...]:
    """Give what can be done about an open answer, the most useful first.

    What is open is the change where its interval holds "none", else the ratio after against its band. Remedies that
    are not to be had, or change nothing, are left out.
    """
    pair = before, after
    now = _open(pair, speed, corner, sds)
    if now is None:
        return ()
    share = interval_factor(TIMES) / NORMAL_95 / math.sqrt(TIMES)
    tried: dict[RemedyKind, float | None] = {
        "scale": _open((_read(before), _read(after)), speed, corner, sds),
        "repeats": _open(
            (_repeated(before), _repeated(after)), speed, corner, (sds[0] * share, sds[1] * share)
        ),
        "corner": _open(pair, speed, corner, sds, corner_share=CORNER_BETTER),
    }
    found = [
        Remedy(kind, now, left) for kind, left in tried.items() if left is not None and left < 0.99 * now
    ]
    return tuple(sorted(found, key=lambda remedy: remedy.left))


def _open(
    pair: Sequence[SideFit],
    speed: float | None,
    corner: Corner | None,
    sds: Sds,
    *,
    corner_share: float = 1.0,
) -> float | None:
    """Give the 95 % half width on logarithms of what is open; None where nothing bounds it."""
    before, after = pair
    held = tuple(own_zeta(side) if speed is None else side.secant_at(speed) for side in pair)
    if held[0] is None or held[1] is None:
        return None
    ratio = ratio_at((before, after), speed, (held[0], held[1]), math.hypot(*sds))
    damping = damping_of(before, after, speed, corner, sds, corner_share=corner_share)
    if excludes_one(ratio) and damping is not None:
        return NORMAL_95 * math.hypot(damping.sd_after, damping.sd_shared)
    half = NORMAL_95 * log_spread(ratio)
    return half if math.isfinite(half) else None
