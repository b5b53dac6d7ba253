"""What a side of the damper does to the motion, said so that it cannot be misread.

Takes a side and a direction; gives clauses.

"Less rebound" is said both for a slower return and for less damping of the return, which are opposites; so
the words here always say what moves, which way, and how fast.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from tuner.records import Side

SIDE_TITLE: Mapping[Side, str] = {
    "compression": "Compression (on the way in)",
    "rebound": "Rebound (on the way out)",
}

# what the damper does more or less of; "{change}" is "34 % less (28 to 39 % less)"
_DOES: Mapping[Side, str] = {
    "compression": "resists being pushed in {change}",
    "rebound": "holds the spring back {change} on the way out",
}

_SO: Mapping[tuple[Side, bool], str] = {
    ("compression", True): "so a bump uses less of the travel and hits the body harder",
    ("compression", False): "so a bump uses more of the travel and loads the spring more",
    ("rebound", True): "so the body comes up more slowly and the wheel drops back more slowly",
    ("rebound", False): "so the wheel pushes the body up faster",
}

_SO_BRIEFLY: Mapping[tuple[Side, bool], str] = {
    ("compression", True): "so bumps hit the body harder.",
    ("compression", False): "so bumps use more of the travel.",
    ("rebound", True): "so the body comes up more slowly.",
    ("rebound", False): "so the wheel pushes the body up faster.",
}

# what a damping ratio outside its band means for the machine
_OUTSIDE: Mapping[tuple[Side, str], str] = {
    ("compression", "below"): "bumps use up the travel quickly and load the spring",
    ("compression", "above"): "bumps go through to the body hard",
    ("rebound", "below"): "the spring throws the body up after a bump or at a lip",
    (
        "rebound",
        "above",
    ): "the wheel comes back slowly, so over a row of bumps the machine settles deeper and deeper",
}


def effect(side: Side, change: str, *, stronger: bool) -> str:
    """Say what the damper now does, and what that does to the machine."""
    return f"the damper now {_DOES[side].format(change=change)}, {_SO[side, stronger]}"


def unclear_effect(side: Side, change: str) -> str:
    """Say the best guess of a change that the test cannot tell from none."""
    nothing = re.match(r"0(?:\.0+)? % \w+ (\(.*\))$", change)
    if nothing is not None:
        same = _DOES[side].format(change="as much as before")
        return f"the best guess is that the damper {same} {nothing[1]}"
    does = _DOES[side].format(change=change)
    return f"the best guess is that the damper now {does}, which may be nothing at all"


def damping_clause(side: Side, change: str, *, changed: bool | None, stronger: bool) -> str:
    """Say in a few words how much more or less damping a side has, and what that does to the motion."""
    if changed:
        return f"damping {change}, {_SO_BRIEFLY[side, stronger]}"
    nothing = re.match(r"0(?:\.0+)? % \w+ (\(.*\))$", change)
    said = f"as before {nothing[1]}" if nothing else f"{change}, perhaps no change"
    return f"at best guess damping {said}."


def comparison_of(side: Side, first: str, second: str, change: str) -> str:
    """Say what damper `second` does against damper `first`."""
    return f"{second} {_DOES[side].format(change=change)} than {first}"


def meaning_outside(side: Side, place: str) -> str:
    """Say what a ratio below or above its band means, "" for any other place."""
    return _OUTSIDE.get((side, place), "")
