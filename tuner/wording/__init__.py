"""Results into sentences and tables that cannot be misread, metric or US. Formats, decides nothing.

Takes judgements, comparisons and matches; gives text, `Section`s and `Table`s.

Modules: `figures` (numbers), `motion` (what a side does), `fits`, `changes`, `pairs` (one page each),
`paths` (several runs), `damper` (unlike tests of one), `headlines` (the answer in a sentence), `onward` and `surer`
(what to do next), `tables`, `sides` (a result in a few cells), `cautions`, `checks` and `suspects` (what to look at
first), `layout` (sections, plain text), `brief` and `short` (the same in a few lines).
"""

from tuner.wording.brief import Part, brief_page
from tuner.wording.cautions import CAUTIONS, cautions_for
from tuner.wording.changes import change_sections
from tuner.wording.changes import summary as change_summary
from tuner.wording.damper import damper_headline, damper_sections
from tuner.wording.fits import check_points, fit_sections
from tuner.wording.headlines import Headline, change_headline, fit_headline, pair_headline, provided
from tuner.wording.layout import Section, Table, page
from tuner.wording.pairs import pair_sections
from tuner.wording.pairs import summary as pair_summary
from tuner.wording.paths import path_tables
from tuner.wording.short import short_change, short_damper, short_fit, short_pair
from tuner.wording.sides import change_sides, fit_sides, in_one_line, pair_sides
from tuner.wording.suspects import notes_of

__all__ = [
    "CAUTIONS",
    "Headline",
    "Part",
    "Section",
    "Table",
    "brief_page",
    "cautions_for",
    "change_headline",
    "change_sections",
    "change_sides",
    "change_summary",
    "check_points",
    "damper_headline",
    "damper_sections",
    "fit_headline",
    "fit_sections",
    "fit_sides",
    "in_one_line",
    "notes_of",
    "page",
    "pair_headline",
    "pair_sections",
    "pair_sides",
    "pair_summary",
    "path_tables",
    "provided",
    "short_change",
    "short_damper",
    "short_fit",
    "short_pair",
]
