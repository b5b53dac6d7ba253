"""What is doubtful about a machine and its corners, in words.

Keys of the machine file are written into the sentences as they stand there; `Said` puts them into plain words where
that is asked.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from tuner.estimates import Estimate, Note
from tuner.wording.doubts.facts import Said

_TABLE = "the motion ratio table of corner {corner!r}"
_MODES = {"body": "the body mode", "hop": "the wheel hop"}


def _plain(said: Said, number: float | Estimate) -> str:
    """Write a number with three or four digits, never with an exponent."""
    value = number.value if isinstance(number, Estimate) else number
    return said.shown(number, ".0f" if abs(value) >= 1000 else ".3g")


def _likely(said: Said, notes: tuple[Note, ...]) -> str:
    return "likely: " + "; or ".join(said.shown(note, "") for note in notes)


def _frequency(said: Said) -> str:
    likely = "check spring_rate, sprung_mass, motion_ratio"
    return said(
        "corner {corner!r} would swing at {swings:.2g} on its spring, off-road machines do at {low:~g} to {high:g} "
        "(common practice, no source); {what}",
        what=_likely(said, said["likely"]) if said["likely"] else said(likely),
    )


def _share(said: Said) -> str:
    culprits = "sprung_mass of one corner; or [axles] has front and rear swapped"
    if said["by_distance"]:
        culprits += "; or cg_to_front was measured from the rear axle"
    return said(
        "the corners put {corners:.0f%} of the sprung mass in front, [body] puts {body:.0f%}; likely: "
        + culprits
    )


SENTENCES: Mapping[str, str | Callable[[Said], str]] = {
    "default-pitch-factor": (
        "[body] gives neither pitch_inertia nor pitch_factor; a factor of {factor.low:g} to {factor.high:g} was taken "
        "(common practice, no source)"
    ),
    "default-target": (
        "the machine file has no [target]; the band for {target!r} at {speed:g} was taken ({source})"
    ),
    "default-target-speed": "[target] gives no speed; {speed:g} was taken",
    "modes-unknown": (
        "body mode and wheel hop of corner {corner!r} need {missing:&k}, which the machine file does not give"
    ),
    "overdamped": lambda said: said(
        "{which} of corner {corner!r} does not swing any more (damping ratio {zeta:.2f}): it only creeps back",
        which=_MODES[said["mode"]],
    ),
    "locked": (
        "more damping would damp corner {corner!r} less: body and wheel already move as one and bounce together on "
        "the tyre"
    ),
    "mistake:inverted": (
        "motion_ratio is the wrong way round (it is damper travel / wheel travel, so {right:.2f} instead of "
        "{given:.2f})"
    ),
    "mistake:axle": lambda said: said(
        "sprung_mass is that of a whole axle, not of one corner ({mass})", mass=_plain(said, said["right"])
    ),
    "mistake:machine": lambda said: said(
        "sprung_mass is that of the whole machine, not of one corner ({mass})",
        mass=_plain(said, said["right"]),
    ),
    "mistake:unit": lambda said: said(
        "{key:k} is in {meant} but was read as {read} ({as_given} {meant})",
        as_given=_plain(said, said["number"]),
    ),
    "mistake:preload": "{preload:.0f} of preload on the spring, or gas force",
    "mistake:no-preload": (
        "sprung_mass is too low, or motion_ratio or spring_rate too high; preload would do the opposite"
    ),
    "frequency-unusual": _frequency,
    "ratio-inverted": lambda said: said(
        "motion_ratio of corner {corner!r} is {ratio:.2f}; it is damper travel / wheel travel and usually below 1, "
        "so it may be the wrong way round ({inverse:.2f})",
        inverse=1.0 / said["ratio"],
    ),
    "ratio-unusual": (
        "motion_ratio of corner {corner!r} is {ratio:.2g}, unusually small: {wheel:.0f} at the wheel would move the "
        "damper only {damper:.1f}"
    ),
    "ratio-table-rough": (
        f"the rows of {_TABLE} do not lie on a smooth curve, row {{row}} is {{off:.1f}} off; read them again, that one "
        "first"
    ),
    "ratio-table-short": (
        f"{_TABLE} has only {{rows}} rows: how fast the ratio changes is hardly known from them; five or more are "
        "better"
    ),
    "ratio-table-span": (
        f"{_TABLE} covers {{span:.0f}} of damper travel, damper_travel is {{travel:.0f}}; likely one of the two is "
        "wrong, or the ends were not measured"
    ),
    "rest-outside-table": (
        f"static_travel, {{static:.0f}}, lies outside {_TABLE}; the ratio at its end was taken"
    ),
    "spring-too-soft": (
        "corner {corner!r} would have to compress its spring by {needed:.0f} to carry its mass, its damper has "
        "{travel:.0f} of travel; likely: preload (give static_travel); or sprung_mass is that of a whole axle; or "
        "spring_rate or motion_ratio is too low"
    ),
    "sag-disagrees": lambda said: said(
        "corner {corner!r} rests at {static:.0f} of shaft travel, but spring_rate, sprung_mass and motion_ratio give "
        "{expected:.0f} (and with it a frequency {off:.0f%} off the one from the sag); {what}",
        what=_likely(said, said["likely"]),
    ),
    "unsprung-heavy": (
        "unsprung_mass of corner {corner!r} ({unsprung:.3g}) is larger than its sprung_mass ({sprung:.3g}); likely "
        "the two are swapped, or it is that of a whole axle"
    ),
    "tyre-rate-soft": (
        "tyre_rate of corner {corner!r} is {rate:.3g}, a tyre is usually stiffer than the wheel rate ({wheel:.3g}); a "
        "number without a unit counts as N/m"
    ),
    "bump-stop-rate-soft": (
        "bump_stop_rate of corner {corner!r} is {rate:.3g}, a bump stop is usually stiffer than the wheel rate "
        "({wheel:.3g}); a number without a unit counts as N/m"
    ),
    "travel-unusual": (
        "damper_travel of corner {corner!r} is {travel:.4g}; a number without a unit counts as metres"
    ),
    "corner-impossible": "corner {corner!r}: {problem}",
    "share-disagrees": _share,
}
