"""What is doubtful about fits of bench tests, weights, drives and jumps, in words."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from tuner.estimates import Estimate
from tuner.wording.doubts.facts import Said

_TEST = {
    "compression": "a test in which the damper is pushed together",
    "rebound": "a test in which the damper is pulled apart",
}
_SCALE = "both scale readings of a slow push in and a slow return"
_SLOW = Estimate.exact(0.02, "m/s")  # a cycle this slow tells friction and gas force
_NO_BRAKE = "at {speed:g} the {side} shows no braking force once gas force and friction are taken off"


def plural(count: int) -> str:
    """Give the s of a plural."""
    return "" if count == 1 else "s"


def _strokes(said: Said) -> str:
    found = "the force comes later than oil and hoses explain"
    if "scatter" in said:
        found = said("strokes differ from the common damping by {scatter:.0f%}, where 1 % is usual")
    return (
        f"{found}; a delay between the channels of travel and force does this, and so does a mass that moves with the "
        "load cell: the damping may then be further off than its interval says"
    )


def _no_reference_speed(said: Said) -> str:
    if "slowest" in said:
        return said(
            "the {side} was tested from {slowest:~.3g} to {fastest:.3g}; no reference speed lies in there"
        )
    return said("the {side} was tested up to {fastest:.3g}, and no reference speed lies in there")


def _not_enough(said: Said) -> str:
    rows = "{rows} rows leave" if said["rows"] > 1 else "one row leaves"
    needs = ", and ".join(said.shown(need, "") for need in said["needs"])
    what = f"what is missing is {needs}" if needs else "test it at higher speeds"
    return said(
        f"not enough to tell {{side}} at {{speeds:&g}}: {rows} it open by more than a factor of six, or down to "
        "nothing; {what}",
        what=what,
    )


def _more_speeds(said: Said) -> str:
    count = len(said["speeds"])
    return said("{count} more test speed{s}, such as {speeds:&g}", count=count, s=plural(count))


def _more_weights(said: Said) -> str:
    count, way = len(said["masses"]), "going in" if said["side"] == "compression" else "coming out"
    return said(
        "{count} more weight{s} {way}, such as {masses:&.0f} (at least {wanted} different speeds)",
        count=count,
        s=plural(count),
        way=way,
    )


def _coarse_time(said: Said) -> str:
    if "frames" in said:
        return said("the speed of the fastest row is known to {error:.0f%} only (one frame of {frames:g})")
    return said(
        "the speed of the fastest row is known to {error:.0f%} only (a hand-stopped time); a film with a known frame "
        "rate tells it better"
    )


SENTENCES: Mapping[str, str | Callable[[Said], str]] = {
    # cycles
    "no-strokes": "{test} holds no whole stroke and was left out",
    "velocity-differs": (
        "the velocity column does not agree with the travel; the speed was taken from the travel"
    ),
    "few-samples": "the fastest test has fewer than {wanted} samples in a cycle: its loop is coarse",
    "poor-fit": "speed and travel explain {explained:.0f%} of the force; noise or a wrong column?",
    "strokes-disagree": _strokes,
    "gas-friction-unknown:cycle": (
        "one side or one steady speed alone cannot tell gas force and friction from damping, which widens the "
        "interval; several speeds in both directions would"
    ),
    "no-slow-cycle": lambda said: said(
        "the slowest test reaches {slowest:.3g}: friction and gas force are read from there down, and a cycle below "
        "{slow:g} would tell them better",
        slow=_SLOW,
    ),
    "few-cycles": lambda said: said(
        "only {count} whole cycle{s}: how much one cycle differs from the next is assumed (1 %), not measured",
        s=plural(said["count"]),
    ),
    "dead-stroke:loop": (
        "after the turn the {side} side stays without force for {length:.1f}: the sign of air in the oil or too "
        "little of it"
    ),
    "negative-damping:loop": (f"{_NO_BRAKE}; check the direction of the force and the zero of the load cell"),
    # points of a sweep or of weights
    "negative-damping": _NO_BRAKE,
    "no-reference-speed": _no_reference_speed,
    "no-law": "no law could be fitted to the {side}; its forces hardly brake",
    "one-point": "one single {side} speed: its error cannot be seen, {assumed:.0f%} is assumed",
    "few-points": "only {count} different {side} speeds, {wanted} or more wanted: the interval is wide",
    "not-enough": _not_enough,
    "scale-readings": _SCALE,
    "scale-readings:sweep": f"{_SCALE} (the settings push and return)",
    "more-speeds": _more_speeds,
    "more-weights": _more_weights,
    "side-not-seen": lambda said: said(
        "the record holds no {side}; it takes {test} to see it", test=_TEST[said["side"]]
    ),
    "gas-pulls": (
        "the force at rest pulls the ends together with {force:.0f}, which no gas does: the load cell was off its "
        "zero, or compression and rebound are the wrong way round (then say which column or sign is which)"
    ),
    "gas-from-intercept": (
        "the points leave {gas:.0f} at zero speed on the pushing side: read as gas force and taken off"
    ),
    "gas-taken-as-zeroed": lambda said: said(
        "no gas force shows in the peak forces, so the load cell was taken as zeroed with the gas force on it; a slow "
        "cycle (below {slow:g}) or a slow push and return on a scale would tell",
        slow=_SLOW,
    ),
    "friction-from-intercept": (
        "friction of {friction:.0f} was read from what the peak forces leave at zero speed and taken off"
    ),
    "friction-from-scale": "friction of {friction:.0f} was read on a scale and taken off",
    "friction-inside": (
        "friction is inside the peak forces and the points cannot tell it: {friction:.0f} was taken off (common "
        "practice, no source), and the interval holds what that leaves open, most at low speed; a slow cycle or a "
        "slow push and return on a scale would tell"
    ),
    "gas-friction-unknown:weights": (
        "without scale readings of a slow push and a slow return, gas force and friction are known only as far as the "
        "weights themselves tell them, and the interval holds the rest; push the shaft in slowly on a scale, let it "
        "return slowly, and give both readings"
    ),
    "friction-negative": (
        "the slow return reads more than the slow push ({back:.0f} against {push:.0f}), so friction would be "
        "negative; the two may be swapped"
    ),
    "weight-too-small": "{count} of {rows} weights do not even overcome gas force and friction",
    "not-steady": (
        "{count} of {rows} rows were timed for less than ten times what the weight takes to reach a steady speed (3 "
        "m/c): start timing after the first centimetres, or use a lighter weight or a longer distance; else the speed "
        "reads too low"
    ),
    "coarse-time": _coarse_time,
    "times-filmed": (
        "times were taken as stopped by hand, to {by_hand:g}, but repeated rows agree within {apart:.2g}: if they "
        "come from a film, give its frame rate (the setting frame_rate, such as 240 Hz), and the intervals shrink"
    ),
    # repeats
    "not-repeated": "{side} shows in {shown} of {runs} runs",
    "not-repeated:speeds": "no reference speed of {side} was held by all runs",
    "run-to-run": "from run to run {side} damping scattered by {scatter:.1f%} (sd of {runs} runs)",
    "repeats-disagree": (
        "the runs disagree in {side}: they scatter by {scatter:.1f%} where up to {usual:.1f%} would be usual; look "
        "for heat, air or a loose mount first"
    ),
    "laws-differ": (
        "the runs chose different laws for {side} ({laws}); drawn and listed is the one of the run nearest to the "
        "mean, {shown}"
    ),
    # drives
    "standing-left-out": "{time:.0f} of standing still before and after the drive were left out",
    "short-drive": "only {time:.1f} of driving: too short for intervals",
    "static-unknown": (
        "the travel at rest is not given: ride height is not judged (static_travel in the machine file)"
    ),
    "full-travel-unknown": (
        "the full travel is not given: stops are not counted (damper_travel in the machine file)"
    ),
    "beyond-travel": (
        "the record runs from {low:~.0f} to {high:.0f}, outside the damper's 0 to {full:.0f}: check the sensor's zero "
        "and calibration"
    ),
    "packing-unknown": ("rows of bumps in the record: {rows}; at least three are needed to see packing down"),
    "not-seen:drive": ("a drive shows what the shaft did, not the damping alone: bounce the corner for that"),
    # jumps
    "not-seen:jump": "a flight shows what the machine did, not the damping: bounce the corner for that",
    "no-gyroscope": "no rotation rates in the recording: record with the gyroscope on to see the pitch",
    "nose-direction-unknown": (
        "the size of the rotation is known but not whether the nose went up or down: lift the nose once by hand at "
        "the start of the recording, or say which phone axis lifts it (nose_up_axis)"
    ),
    "no-rest:jump": (
        "nothing in the recording is at rest: stand still for two seconds at the start and the end"
    ),
    "landing-clipped": "the landing went past the sensor's limit: the true peak is higher than given",
    "one-jump": "one jump only: how much jumps differ from each other is not known, make three",
    "airtimes-apart": "the longest time in the air is {times:.1f} times the shortest",
    "landings-apart": "the hardest landing is {times:.1f} times the softest",
    "unlike-jumps": (
        "the jumps are unlike each other ({why}), so they are listed one by one and not averaged: make them over the "
        "same ramp at the same speed, or record each kind of jump by itself and compare like with like"
    ),
}
