"""What a change did: ratios, verdict, confounders; two dampers side by side; a path of several runs.

Takes fits of both settings, a corner and a target (both optional); gives `Comparison`, `PairMatch`, `Path`.
Uses: errors, estimates, records, machine, fitting, judging.
"""

from tuner.comparing.pairs import match
from tuner.comparing.results import ChangeAt, Comparison, PairMatch, SideComparison, SideMatch, Verdict
from tuner.comparing.runs import compare

__all__ = [
    "ChangeAt",
    "Comparison",
    "PairMatch",
    "SideComparison",
    "SideMatch",
    "Verdict",
    "compare",
    "match",
]
