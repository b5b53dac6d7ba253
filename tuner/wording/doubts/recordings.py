"""What is doubtful about recordings and tables as they were read, in words."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from tuner.estimates import Estimate
from tuner.wording.doubts.facts import Said


def _missing_rows(said: Said) -> str:
    if "rows" not in said:
        return said("{lost} rows lack a number and were left out")
    if "side" in said:
        return said("{lost} of {rows} rows lack the speed or the force in {side}, the first in line {line}")
    first = ", the first in line {line}" if "line" in said else ""
    return said("{lost} of {rows} rows lack a number and were left out" + first)


def _spikes(said: Said) -> str:
    if said["samples"] == 1:
        return said("1 sample that stands far off both its neighbours was left out, in line {line}")
    return said(
        "{samples} samples that stand far off both their neighbours were left out, the first in line {line}"
    )


def _gaps(said: Said) -> str:
    if "missing" not in said:
        return said("samples are missing in {places} places")
    return said(
        "samples are missing in {places} {word}, {missing:.2f} in all; the longest gap is {longest:.2f}, at {at:.1f}",
        word="place" if said["places"] == 1 else "places",
    )


def _unusual_damping(said: Said) -> str:
    digits = ".0f" if said["c"].value >= 1000.0 else ".4g"
    return said(f"force over speed is {{c:{digits}}}, unusual for the damper of a vehicle: check the units")


SENTENCES: Mapping[str, str | Callable[[Said], str]] = {
    # rows and times
    "missing-rows": _missing_rows,
    "cut-off": "the last line ({line}) is cut off and was left out",
    "mixed-rows": (
        "column {column!r} has {entries} different entries, and all rows were read as one record: split the file when "
        "they are different dampers or settings"
    ),
    "spikes": _spikes,
    "out-of-order": "{rows} rows came late and were put in their place by their time",
    "equal-times": "{rows} rows had the time of the row before and were averaged with it",
    "coarse-stamps": (
        "the stamps in column {column!r} are coarser than the samples ({rows:.0f} rows to one stamp): the rows were "
        "spread evenly between them"
    ),
    "gaps": _gaps,
    "jitter": "the time between samples varies by {share:.0f%}",
    "clipped": "{share:.1f%} of the forces rest on a limit: the load cell was overloaded there",
    "clipped:phone": (
        "{share:.2f%} of the samples rest on the sensor's limit of about {limit:.0f}: the peaks are higher than "
        "recorded"
    ),
    "at-limit": (
        "{share:.1f%} of the samples rest on the highest or lowest reading: shaft or sensor was at its stop"
    ),
    # bench
    "zero-drift": "the zero of the force drifts by {drift:.0f} during one test",
    "no-cycle": "the test from line {line} on holds no whole cycle",
    "coarse": "the test from line {line} on has fewer than {wanted} samples per cycle",
    "gas-sign": "with these signs the static force pulls the ends together: check which way is compression",
    "stroke-differs": (
        "the travel moves over {stroke:.4g}, but the stroke is said to be {stated:.4g}: check the unit of the travel"
    ),
    "speed-differs": "{test!r} reaches {reached:.3g}: check the units of time and travel",
    "speed-differs:stroke": (
        "the speeds are {times:.3g} times those from stroke and strokes per time: check the units"
    ),
    "spring": "the force rises by {rate:.3g} with travel: was the spring left on? Test without it",
    "unusual-damping": _unusual_damping,
    "unusual-speed": ("the highest speed is {speed:.3g}, more than most benches reach: check the units"),
    "unusual-sides": (
        "the force in compression is {times:.2g} times the one on the return, which is rare: check which way is "
        "compression"
    ),
    "steep": (
        "the force grows faster than the square of the speed, which no oil does through a hole: check that the "
        "columns of speed and force are not swapped (air in the damper can do it in short strokes)"
    ),
    "columns-swapped": (
        "column {round!r} holds round numbers only and column {other!r} does not, as if what was set and what was "
        "measured stood under each other's name: check that the two are not swapped"
    ),
    "one-speed": "all points have the same speed; a law of force over speed needs several",
    "side-missing": "the sweep has no point in {side}",
    "zero-speed": "{points} points at zero speed were left out",
    "no-scale": ("slow push and slow return on a scale are not both given: gas force and friction stay in"),
    "scale-order": "the slow push reads less than the slow return; they may be swapped",
    # sensors and phones
    "slow-sampling:drive": (
        "{rate:.0f} samples a second miss the fastest moves of the shaft: log 200 or more"
    ),
    "slow-sampling:bounce": (
        "{rate:.0f} samples a second are few for a bounce: intervals get wide; 100 or more are better"
    ),
    "slow-sampling:jump": "{rate:.0f} samples a second make airtimes coarse: 100 or more are better",
    "zero-unknown": lambda said: said(
        "the travel runs down to {lowest:.0f}, below full extension: its zero is elsewhere; mean position and stops "
        "need --set static_travel='{example:.0f}' (at rest) or --set extended_reading='{zero:.0f}'",
        example=Estimate.exact(0.09, "m"),
        zero=Estimate.exact(0.0, "m"),
    ),
    "engine-vibration": (
        "a vibration of {size:.1f} at {pitch:.0f} runs through the recording, as of an engine: switch it off for a "
        "bounce"
    ),
    "no-rest": (
        "nothing in the recording is at rest: the vertical is the mean acceleration; keep still for three seconds at "
        "the start"
    ),
    "gravity-scale": "at rest the phone reads {read:.2f} instead of {gravity:~.2f}: its scale is off",
    "slip": "by {by:~.0f} degrees before {before:.1f}",
    "phone-slipped": (
        "the phone slipped: the direction of gravity at rest changed {slips:;}; only the part from {first:~.1f} to "
        "{last:.1f} is used"
    ),
    "phone-turned": "the columns of gravity turn about by {by:~.0f} degrees",
    "free-fall": lambda said: said(
        "the phone falls freely at {times}: such a stretch is no bounce",
        times=tuple(said.shown(time, ".1f") for time in said["times"]),
    ),
    "no-rotation": "{time:.1f} without rotation rates were left out",
    "up-not-checked": (
        "nothing in the file confirms which way is up: a maker that turns all signs round would swap compression and "
        "rebound; --set start=push (or lift) checks it"
    ),
}
