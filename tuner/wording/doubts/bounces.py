"""What is doubtful about bounces and their fit, in words."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from tuner.wording.doubts.facts import Said

_WAYS = {"push": "push and let go", "lift": "lift and drop"}
REMEDIES = {
    "harder": "bounce it harder and more often",
    "lift": "lift and drop instead of push and let go",
    "push": "push down and let go instead of lift and drop",
}


def _used(said: Said) -> str:
    times = said["times"]
    return said(
        "{count} {bounces} used ({ways:&}), at {times:.1f}",
        count=len(times),
        bounces="bounce" if len(times) == 1 else "bounces",
        ways=tuple(_WAYS[way] for way in said["ways"]),
    )


def remedy(said: Said) -> str:
    """Say how to bounce so that a side is seen."""
    return REMEDIES[said["remedy"]]


def _swing(said: Said) -> str:
    way = "less" if said["swing"] < 0.0 else "more"
    return said(
        "by its frequency this end swings as if it carried {much:.0f%} {way} than on the scale, as a body does that "
        "pitches; the ratio is given for the weighed mass",
        much=abs(said["swing"]),
        way=way,
    )


def _at_speed(said: Said) -> str:
    shaft = said(", which is {shaft:.2f} at the shaft") if "shaft" in said else ""
    return said(
        "the damping of {side} changes with speed; its ratio is given at {speed:.2f} at the {moves}{and_shaft}",
        and_shaft=shaft,
    )


SENTENCES: Mapping[str, str | Callable[[Said], str]] = {
    "bounces-used": _used,
    "bounce-cut-off": "the recording begins after the release; its start is unknown",
    "bounce-left-out": "the bounce at {time:.1f} was left out: {why}",
    "fits-badly": (
        "{doubtful} of {count} bounces move in a way that the corner on its tyre does not explain; body pitch, a "
        "hand, a stop that was hit or a soft mount of the phone could"
    ),
    "few-bounces": "only {count} bounce(s) could be used; {wanted} to 6 narrow the intervals",
    "decrement-differs": (
        "the turning points alone say a damping ratio of {decrement:.2f} for the body's swing, the fit says "
        "{fitted:.2f}; look at the picture of the bounces before trusting either"
    ),
    "slow-rate": (
        "{rate:.0f} samples per second hardly show the wheel's own motion; 100 or more narrow the intervals"
    ),
    "vibration": (
        "a vibration of {size:.1f}, strongest at {pitch:.0f}, lies on the record (engine running?); only what is "
        "slower than {trusted:.0f} was trusted"
    ),
    "one-line": (
        "one damping value per side explains the record; a change with speed would need harder bounces to show"
    ),
    "wheel-left-ground": "the wheel left the ground in at least one bounce; the fit allows for it",
    "soft-after-reversal": (
        "the bounces only fit a damper that is soft after every reversal, as with air in the oil or too little of it; "
        "the ratio is that of the damper once it works"
    ),
    "bounces-differ": (
        "the bounces differ from each other {factor:.1f} times as much as their noise explains (pitching, hands, a "
        "damper that is not two straight lines): the intervals are that much wider"
    ),
    "ratio-unknown": "without the motion ratio, travel at the wheel and friction stay unknown",
    "not-seen:bounce": lambda said: f"{said['side']} is not seen in this test; {remedy(said)}",
    "hardly-seen": lambda said: said(
        "the record shows {side} only in part: the ratio lies between {zeta.low:.2f} and {zeta.high:.2f}; {how}",
        how=remedy(said),
    ),
    "friction-matters": lambda said: said(
        "dry friction takes {share:.0f%} as much as the damping of {side}; how far it sticks, creeps or winds up is "
        "in the interval, which to narrow: {how}",
        how=remedy(said),
    ),
    "swing-mass": _swing,
    "ratio-at-speed": _at_speed,
    "unsprung-unknown": (
        "the unsprung mass is not known; {low:.2f} to {high:.2f} times the sprung mass was allowed, which widens "
        "every interval. Weigh wheel, hub and half of the arms to narrow them."
    ),
    "tyre-assumed": "the tyre rate came without an uncertainty; ± {share:.0f%} was assumed",
    "tyre-unknown": (
        "the tyre rate is not known; {low:.1f} to {high:.0f} times the wheel rate was allowed, which widens every "
        "interval. Wheel load over how far it squashes the tyre gives it."
    ),
}
