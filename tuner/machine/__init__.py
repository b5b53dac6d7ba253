"""The machine: corners, body, axles and target; the machine file; what follows from them.

Takes a machine file (TOML) or values; gives frozen `Machine`, `Corner`, ... and the rates, frequencies and
damping ratios of a corner with their 95 % intervals.

Modules, low to high: `parts` (the frozen values), `propagation` (how uncertainty is carried), `linkage`
(motion ratio), `rates` (one mass), `modes` (two masses), `sums` (coil, sag, centre of gravity, inertia), `mistakes`
(the one list of them), `positions` (where a text says something is), `suspects` (mistakes ranked by evidence), `checks`
(what does not fit together), `tables` and `entries` (the file's keys), `file` (reading it), `writing`, `form` (a
machine as it is typed).
"""

from tuner.machine.checks import check_body, check_corner
from tuner.machine.file import machine_from_values, read_machine, read_machine_file
from tuner.machine.linkage import motion_ratio_at, ratio_over_travel
from tuner.machine.mistakes import MISTAKES
from tuner.machine.modes import Modes, ModesEstimate, modes_estimate, modes_missing, two_mass_modes
from tuner.machine.parts import (
    DEFAULT_BUMP_STOP,
    DEFAULT_DROOP_STOP,
    DEFAULT_TARGET,
    TARGETS,
    Axles,
    Body,
    Corner,
    Machine,
    MotionRatio,
    Target,
)
from tuner.machine.rates import (
    critical_damping,
    frequency,
    handbook_zeta,
    spring_force_at_rest,
    wheel_rate,
)
from tuner.machine.sums import (
    cg_height_by_raising,
    cg_to_front,
    coil_rate,
    frequency_from_sag,
    front_share_of,
    pitch_inertia,
    pitch_inertia_by_swing,
    pitch_inertia_from_factor,
    sprung_from_scale,
    stacked_rate,
)
from tuner.machine.suspects import Clue, Suspect, suspects_of
from tuner.machine.writing import write_machine

__all__ = [
    "DEFAULT_BUMP_STOP",
    "DEFAULT_DROOP_STOP",
    "DEFAULT_TARGET",
    "MISTAKES",
    "TARGETS",
    "Axles",
    "Body",
    "Clue",
    "Corner",
    "Machine",
    "Modes",
    "ModesEstimate",
    "MotionRatio",
    "Suspect",
    "Target",
    "cg_height_by_raising",
    "cg_to_front",
    "check_body",
    "check_corner",
    "coil_rate",
    "critical_damping",
    "frequency",
    "frequency_from_sag",
    "front_share_of",
    "handbook_zeta",
    "machine_from_values",
    "modes_estimate",
    "modes_missing",
    "motion_ratio_at",
    "pitch_inertia",
    "pitch_inertia_by_swing",
    "pitch_inertia_from_factor",
    "ratio_over_travel",
    "read_machine",
    "read_machine_file",
    "spring_force_at_rest",
    "sprung_from_scale",
    "stacked_rate",
    "suspects_of",
    "two_mass_modes",
    "wheel_rate",
    "write_machine",
]
