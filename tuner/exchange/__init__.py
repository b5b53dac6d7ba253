"""Results into the JSON of the outer face, and into tables for a spreadsheet (CSV).

Takes judgements, comparisons and matches; gives plain values (dict, list, str, float, None) for `to_json`,
and CSV text.

SI units, angles in rad; rates of events are per minute and say so. ``"schema": 1`` stands first; a change of shape
needs a new number. What could not be estimated is null, and a note says why. Strict JSON: no NaN, no infinity.

Modules: `values` (single values), `results` (fit, compare, match), `measures` (drives and jumps),
`rows` (tables of plain values), `spreadsheet` (CSV).
"""

from tuner.exchange.results import compare_value, damper_value, fit_value, match_value
from tuner.exchange.rows import change_rows, fit_rows, match_rows
from tuner.exchange.spreadsheet import compare_csv, fit_csv
from tuner.exchange.values import SCHEMA, estimate_value, note_values, to_json

__all__ = [
    "SCHEMA",
    "change_rows",
    "compare_csv",
    "compare_value",
    "damper_value",
    "estimate_value",
    "fit_csv",
    "fit_rows",
    "fit_value",
    "match_rows",
    "match_value",
    "note_values",
    "to_json",
]
