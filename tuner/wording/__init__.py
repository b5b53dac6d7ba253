"""Results into sentences and tables that cannot be misread, metric or US. Formats, decides nothing.

Takes judgements, comparisons and matches; gives text, `Section`s and `Table`s.
Uses: estimates, units, records, laws, fitting.results, judging, comparing.

Rooms inside: `figures` (numbers), `motion` (what a side does), `fits`, `changes`, `pairs` (one page each),
`tables`, `cautions`, `layout` (sections, plain text).
"""

from tuner.wording.cautions import CAUTIONS, cautions_for
from tuner.wording.changes import change_sections
from tuner.wording.changes import summary as change_summary
from tuner.wording.fits import fit_sections
from tuner.wording.layout import Section, Table, page
from tuner.wording.pairs import pair_sections
from tuner.wording.pairs import summary as pair_summary

__all__ = [
    "CAUTIONS",
    "Section",
    "Table",
    "cautions_for",
    "change_sections",
    "change_summary",
    "fit_sections",
    "page",
    "pair_sections",
    "pair_summary",
]
