"""What a change did: ratios, verdict, confounders; two dampers side by side; a path of several runs.

Takes fits of both settings, a corner and a target (both optional); gives `Comparison`, `PairMatch`, `Path`.

Modules: `results` (the frozen values), `change` (ratios), `verdict` (probabilities), `reasons` (why), `remedies`
(what would make it surer), `confounders`, `measures` with `drives`, `ground`, `scatter` (what drives and jumps give
instead of damping), `needed` (what brings a side into its band), `runs` (before and after), `pairs` (two dampers),
`path` (several runs).
"""

from tuner.comparing.pairs import TOLERANCE, match
from tuner.comparing.path import Path, PathStep, path
from tuner.comparing.results import (
    ChangeAt,
    Comparison,
    MeasureChange,
    PairMatch,
    SideComparison,
    SideMatch,
    Verdict,
)
from tuner.comparing.runs import compare

__all__ = [
    "TOLERANCE",
    "ChangeAt",
    "Comparison",
    "MeasureChange",
    "PairMatch",
    "Path",
    "PathStep",
    "SideComparison",
    "SideMatch",
    "Verdict",
    "compare",
    "match",
    "path",
]
