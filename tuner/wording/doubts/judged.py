"""What is doubtful about the place of a fit against its band, and about whole jobs, in words."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from tuner.estimates import Estimate
from tuner.wording.doubts.facts import Said

_MUCH = "{least:+.0f%} to {most:+.0f%}"
_TOLD_BY = {
    "the bench": f"the bench test of this damper says by how much it differs there ({_MUCH})",
    "its own curve": f"the bend that these bounces show says by how much it differs there ({_MUCH})",
}
_MAY_DIFFER = (
    f"there it may differ by {_MUCH}, as ordinary dampers bend (common practice, no source); a bench test of this "
    "damper, given together with the bounce, tells it"
)


def _step(said: Said) -> str:
    here = "about {here:g}, taken as usual" if said["assumed"] else "{here:.2g}"
    how = _TOLD_BY.get(said["told_by"], _MAY_DIFFER)
    return said(f"{{side}} is shown at {here} at the shaft and the target is meant at {{there:g}}: {how}")


SENTENCES: Mapping[str, str | Callable[[Said], str]] = {
    "not-seen": "the record does not show {side}",
    "no-corner": "the damping ratio of {side} needs a corner: mass, spring, motion ratio",
    "no-speed": "{side} was not tested at any reference speed",
    "no-target": "the place of {side} needs a target band",
    "other-speed": (
        "the target is meant at {target:g}; {side} is judged at {speed:g}, the nearest reference speed that was tested"
    ),
    "other-speed:step": _step,
    "modes-one-side": "body mode and wheel hop need both sides at one speed",
    "modes-unsure": "the damping is too unsure for body mode and wheel hop",
    "frequency-disagrees": (
        "the bounce swings at {measured:.2f}, spring and mass give {expected:.2f}: check mass (of one corner), motion "
        "ratio and spring rate"
    ),
    "one-run": (
        "this is one test: what taking the damper off and mounting it again changes is not in the intervals "
        "({usual:.0f%} between two tests are usual; common practice, no source)"
    ),
    "inputs-exact": lambda said: said(
        "corner {corner!r} is given without an error of {exact:&k}, which is therefore taken as exact; written as "
        "'{example:.0f} ± 3 %', the error is in the intervals",
        example=Estimate.exact(95.0, "kg"),
    ),
    "same-forces": (
        "both tests have the very same forces in {side} at different speeds, as if the columns of speed and force "
        "were swapped: check them"
    ),
    "same-file": "the same recording stands on both sides ({files}), so no change can be seen",
    "open-interval": "the record sets no limit to an interval on one end; that end is null here",
}
