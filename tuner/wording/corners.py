"""What a corner is, in words: what follows from its masses, spring and linkage, and what does not fit together.

Takes a `Corner`; gives points and a `Table`.
"""

from __future__ import annotations

from tuner.estimates import Estimate
from tuner.machine import (
    Corner,
    Target,
    check_corner,
    critical_damping,
    frequency,
    motion_ratio_at,
    spring_force_at_rest,
    wheel_rate,
)
from tuner.units import System
from tuner.wording import figures
from tuner.wording.fits import note_points
from tuner.wording.layout import Table


def corner_values_table(corner: Corner, system: System) -> Table:
    """Give what follows from the corner's values, each with its interval."""
    rows: list[tuple[str, Estimate, str]] = [
        ("motion ratio at rest", motion_ratio_at(corner), "ratio"),
        ("spring rate at the wheel", wheel_rate(corner), "stiffness"),
        ("natural frequency", frequency(corner), "frequency"),
        ("force along the damper at rest", spring_force_at_rest(corner), "force"),
        ("critical damping at the wheel", critical_damping(corner), "damping"),
    ]
    if corner.tyre_rate is not None:
        rows.insert(3, ("natural frequency, tyre included", frequency(corner, tyre=True), "frequency"))
    return Table(
        "",
        ("what follows", "value"),
        tuple(
            (
                name,
                figures.zeta_text(value) if kind == "ratio" else figures.amount(value, kind, system=system),
            )
            for name, value, kind in rows
        ),
    )


def corner_doubts(corner: Corner, system: System) -> tuple[str, ...]:
    """Give one sentence for each thing that does not fit together, nothing when all does."""
    return note_points(check_corner(corner), system, plain=True)


def corner_lacks(corner: Corner) -> tuple[str, ...]:
    """Say what stays unknown as long as a value that can be left out is left out."""
    lacks = []
    if corner.static_travel is None:
        lacks.append("Without the travel at rest the sag cannot be held against spring and mass.")
    if corner.unsprung_mass is None or corner.tyre_rate is None:
        lacks.append("Without unsprung mass and tyre rate nothing can be said about wheel hop.")
    return tuple(lacks)


def target_words(target: Target, system: System) -> str:
    """Say what a target asks for."""
    speed = figures.speed_text(target.speed, system)
    return (
        f"Compression {figures.band_text(target.compression)} and rebound {figures.band_text(target.rebound)} of "
        f"critical damping, at {speed} of the shaft ({target.source})."
    )
