"""What ``import tuner`` gives: fit, compare and match for a script or a notebook, with results that show themselves.

Takes files, readings, records, data frames and machines; gives `FitResult`, `CompareResult` and `MatchResult`.

The values of the lower floors know no words, pictures or frames. These results hold the same jobs as the command line
and the dashboard, and hand them to `wording`, `exchange` and `charts`.

Modules: `given` (what was handed in), `calls` (the three functions), `results` (what comes out), `views` (HTML).
"""

from tuner.api.calls import compare, fit, match
from tuner.api.results import CompareResult, FitResult, MatchResult

__all__ = ["CompareResult", "FitResult", "MatchResult", "compare", "fit", "match"]
