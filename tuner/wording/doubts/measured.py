"""What is doubtful about drives and jumps that are held against each other, in words."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from tuner.wording.doubts.facts import Said
from tuner.wording.doubts.fits import plural

LIKE_WITH_LIKE = (
    "make every jump over the same ramp at the same speed, or record each kind of jump by itself and compare like "
    "with like"
)
_OTHER_GROUND = (
    "the same ground was not found in the drives ({}): what differs may be the ground, not the change"
)


def _counts(said: Said) -> str:
    return said("{before} jump{s} before, {after} after", s=plural(said["before"]))


def _over_same_ground(said: Said) -> str:
    counts = said["before"], said["after"]
    if max(counts) > 1:
        alone = "; the scatter of the repeated setting stands for both" if min(counts) == 1 else ""
        drives = said("{before} drive{s} before and {after} after", s=plural(counts[0]))
        return f"over the same ground, {drives}{alone}"
    return (
        "over the same ground, stretch by stretch; one drive of a setting does not show how far two of its drives "
        "differ: drive each three times"
    )


SENTENCES: Mapping[str, str | Callable[[Said], str]] = {
    "not-known": "not known {when:&}",
    "too-wide": "a change of 25 % would not have been seen: repeat each setting more often",
    # jumps
    "other-jump": (
        "the jumps before and after are unlike each other ({why}): another speed or another ramp does that, a damper "
        "hardly"
    ),
    "unlike-jumps:setting": ("the jumps {when} are unlike each other ({why}), so that they have no mean"),
    "like-with-like": LIKE_WITH_LIKE,
    "direction-unknown": (
        "the direction of the rotation is known on one side only: lift the nose once at the start of each"
    ),
    "one-jump:each": lambda said: (
        f"{_counts(said)}: how far two jumps of one setting differ is not known, make three of each"
    ),
    "scatter-of-jumps": lambda said: f"the interval is the scatter of the jumps ({_counts(said)})",
    # drives
    "same-ground": (
        "the same ground was found in the recordings: {share:.0f%} of the first drive before ({stretches} stretches "
        "of {stretch:.0f}); only that is compared"
    ),
    "other-ground": (
        "{drives} of {of_drives} drives went over other ground and were left out of the comparison"
    ),
    "other-ground:short": _OTHER_GROUND.format("{time:.0f} are too short to know ground again"),
    "other-ground:nowhere": _OTHER_GROUND.format(
        "no drive after passed the ground of the first drive before"
    ),
    "other-ground:little": _OTHER_GROUND.format("too little of it was passed by every drive"),
    "other-pace": lambda said: said(
        "the drives after went {much:.0f%} {way} over the same ground; pace alone moves every figure of a drive",
        much=abs(said["pace"]),
        way="faster" if said["pace"] > 0.0 else "slower",
    ),
    "ground-open": (
        "the drives share no ground that could be recognised, so the difference may be the ground's"
    ),
    "over-same-ground": _over_same_ground,
    "stops-uncounted": "stops are counted only where the full travel is known (damper_travel)",
    "stops-as-events": (
        "counted as events that come by themselves; over rough ground they come in groups, which is less sure"
    ),
    "bump-rows": "rows of bumps: {before} before, {after} after",
    "bump-rows:few": "rows of bumps: {before} before, {after} after; three of each are needed",
}
