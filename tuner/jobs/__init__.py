"""The whole main job as pure functions, for the command line and the dashboard alike.

Takes sources (a path, or bytes with a name), read options, a machine and the name of a corner; gives
`FitJob`, `DamperJob`, `CompareJob` and `MatchJob`, which hold all that words, pictures, JSON and the report need.

A caller that reads and fits by itself (to keep the fits) hands `Tested` settings to `judge_tested`,
`compare_tested` and `match_tested`, or to `judge_at`, `compare_at` and `match_at` with a `Location` of its own. Several
sources of one side are repeats of one setting. Nothing here prints; a caller that wants to show progress hands in a
function that is called with a few words before each step.

Modules: `results` (what goes in and comes out), `work` (the jobs).
"""

from tuner.jobs.results import CompareJob, DamperJob, FitJob, Location, MachineInput, MatchJob, Source, Tested
from tuner.jobs.work import (
    Progress,
    compare_at,
    compare_job,
    compare_tested,
    corner_of,
    damper_job,
    fit_job,
    fit_readings,
    judge_at,
    judge_tested,
    location_of,
    machine_from,
    match_at,
    match_job,
    match_tested,
    read_source,
)

__all__ = [
    "CompareJob",
    "DamperJob",
    "FitJob",
    "Location",
    "MachineInput",
    "MatchJob",
    "Progress",
    "Source",
    "Tested",
    "compare_at",
    "compare_job",
    "compare_tested",
    "corner_of",
    "damper_job",
    "fit_job",
    "fit_readings",
    "judge_at",
    "judge_tested",
    "location_of",
    "machine_from",
    "match_at",
    "match_job",
    "match_tested",
    "read_source",
]
