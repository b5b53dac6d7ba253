"""Numbers that are probably wrong, in words: which, why, and what would be right."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from tuner.estimates import Estimate
from tuner.machine import Clue, Suspect
from tuner.machine.mistakes import MISTAKES
from tuner.units import SHOWN, System, from_si
from tuner.wording import figures
from tuner.wording.doubts.facts import Said

PROBABLY = 0.8  # chance from which a suspect is called probable

_NAMES = {
    "sprung_mass": "the sprung mass",
    "spring_rate": "the spring rate",
    "motion_ratio": "the motion ratio",
    "tyre_rate": "the tyre rate",
}
# unit as written, unit meant
_UNITS: Mapping[str, tuple[str, str]] = {
    "n-per-mm": ("N/mm", "stiffness"),
    "n-per-m": ("N/m", "stiffness"),
    "lbf-per-in": ("lbf/in", "stiffness"),
    "kgf-per-mm": ("kgf/mm", "stiffness"),
    "lb": ("lb", "mass"),
    "kg": ("kg", "mass"),
}
_MEASURED = frozenset({"bounce", "sag", "twin", "others", "share"})
_CHECK = {
    "sprung_mass": "weigh that wheel alone and take off wheel, hub and half the arm",
    "spring_rate": "read what stands on the spring, or measure wire, diameter and coils",
    "motion_ratio": "measure how far the shaft moves over 50 mm at the wheel: damper travel / wheel travel",
    "tyre_rate": "measure how far the tyre is squashed under its load",
}


def _all(said: Said) -> str:
    """Say which number is probably wrong, and the next likeliest ones."""
    first, *others = said["suspects"]
    less = (
        _other_corner(s, said.system) if s.code == "other-corner" else _what(s, said.system, "")
        for s in others
    )
    return _sentence(first, said.system) + "".join(f". Or, less likely: {other}" for other in less)


def _sentence(suspect: Suspect, system: System) -> str:
    if suspect.code == "other-corner":
        return _other_corner(suspect, system)
    how_sure = "probably " if suspect.chance >= PROBABLY else "perhaps "
    said = [text for clue in suspect.clues if (text := _reason(clue, suspect, system))]
    why = "; ".join(dict.fromkeys(said[:2]))
    return ". ".join(
        _upper(text) for text in (_what(suspect, system, how_sure), why, _CHECK[suspect.key]) if text
    )


def _upper(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}"


def _what(suspect: Suspect, system: System, how_sure: str) -> str:
    """Say what is wrong and which number would be right."""
    name, where = _NAMES[suspect.key], f"of corner {suspect.corner!r}"
    given, right = (_amount(e, system) for e in (suspect.given, suspect.right))
    code = suspect.code
    fits = "would explain it" if _MEASURED & {clue.code for clue in suspect.clues} else "would be usual"
    if code == "ratio-inverted":
        return (
            f"{name} {where} is {how_sure}the wrong way round (it is damper travel / wheel travel): "
            f"{right} instead of {given} {fits}"
        )
    if code in ("mass-of-axle", "mass-of-machine"):
        whole = "axle" if code == "mass-of-axle" else "machine"
        return (
            f"{name} {where}, {given}, is {how_sure}that of the whole {whole}: a corner's mass of about {right} "
            f"{fits}"
        )
    if "-as-" in code:
        meant, read = (_UNITS[part] for part in code.partition("-in-")[2].split("-as-"))
        written = _amount_in(suspect.given, read)
        return (
            f"{name} {where}, {written} {read[0]}, is {how_sure}in {meant[0]}: {written} {meant[0]}, which is "
            f"{right}, {fits}"
        )
    return f"{name} {where}, {given}, is {how_sure}wrong: about {right} {fits}"


def _amount_in(estimate: Estimate, unit: tuple[str, str]) -> str:
    """Write the bare number as it was given, in that unit."""
    return f"{float(from_si(estimate.value, unit[1], unit[0])):.4g}"


def _amount(estimate: Estimate, system: System) -> str:
    if estimate.unit == "1":
        return figures.zeta_text(estimate)
    if estimate.unit in ("kg", "N/m") and estimate.low == estimate.high:  # as it stands in the file
        kind = figures.kind_of(estimate) or ""
        style = SHOWN[system][kind]
        return f"{float(from_si(estimate.value, kind, style.unit)):.4g} {style.label}"
    return figures.amount(estimate, system=system)


def _reason(clue: Clue, suspect: Suspect, system: System) -> str:
    def of(value: float, unit: str) -> str:
        return _amount(Estimate.exact(value, unit), system)

    found, expected = clue.found, clue.expected
    if clue.code == "bounce":
        return f"the bounce swings at {of(found, 'Hz')}, spring and mass give {of(expected, 'Hz')}"
    if clue.code == "sag":
        return f"it rests at {of(found, 'm')} of shaft travel, spring and mass give {of(expected, 'm')}"
    if clue.code == "usual-frequency":
        return (
            f"it would swing at {of(expected, 'Hz')}, off-road machines do at 0.8 to 4 Hz, most near "
            f"{of(found, 'Hz')} (common practice, no source)"
        )
    if clue.code == "usual-mass":
        return f"{of(expected, 'kg')} is unusual on one corner of a home-built machine (common practice, no source)"
    if clue.code == "usual-ratio":
        return "a motion ratio is usually below 1 (common practice, no source)"
    if clue.code == "usual-sag":
        return f"at rest it would use {100 * expected:.0f} % of the shaft's travel, a third is usual"
    if clue.code == "usual-tyre":
        return (
            f"the tyre would be {expected:.2g} times as stiff as the spring at the wheel, 2.5 to 12 is usual"
        )
    if clue.code in ("twin", "others"):
        which = "the other side of the axle" if clue.code == "twin" else "another corner"
        return f"{which} has {of(found, suspect.given.unit)}"
    if clue.code == "share":
        front, given = (100 * x / (1 + x) for x in (found, expected))
        return f"[body] puts {front:.0f} % of the mass in front, the corners {given:.0f} %"
    return ""


def _other_corner(suspect: Suspect, system: System) -> str:
    given, other = (_amount(Estimate.exact(e.value, e.unit), system) for e in (suspect.given, suspect.right))
    bounced = next((clue for clue in suspect.clues if clue.code == "bounce"), None)
    tail = ""
    if bounced is not None:
        found = _amount(Estimate.exact(bounced.found, "Hz"), system)
        tail = f" (the bounce swings at {found}, {suspect.corner!r} would at {given} and {suspect.other!r} at {other})"
    if suspect.files:
        files, several = " and ".join(suspect.files), len(suspect.files) > 1
        plural, calls, was = ("s", "call themselves", "were") if several else ("", "calls itself", "was")
        return (
            f"the file{plural} {files} {calls} {suspect.words!r}, but {was} judged as {suspect.corner!r}{tail}: "
            f"choose the corner {suspect.other!r} if that is where the damper sits"
        )
    return f"this is perhaps a test of the corner {suspect.other!r}, not of {suspect.corner!r}{tail}"


def _preload(suspect: Suspect, system: System) -> str:
    (clue,) = suspect.clues
    found, expected = (_amount(Estimate.exact(x, "m"), system) for x in (clue.found, clue.expected))
    return (
        f"corner {suspect.corner!r} rests at {found} of shaft travel where spring and mass give {expected}: "
        f"{_amount(suspect.right, system)} of preload on the spring, or gas force, would explain it and changes no "
        "damping ratio"
    )


SENTENCES: Mapping[str, str | Callable[[Said], str]] = {
    **{f"{mistake.code}:suspect": _all for mistake in MISTAKES},
    "other-corner:suspect": _all,
    "preload": lambda said: _preload(said["suspect"], said.system),
}
