"""A result as a small HTML table for a notebook, and as a data frame.

Takes words and rows; gives HTML, every word escaped, and pandas frames.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from typing import TYPE_CHECKING

from tuner.wording import Headline, Table

if TYPE_CHECKING:
    import pandas as pd

    from tuner.exchange.rows import Row

# columns of words and answers; all others hold numbers
_WORDS = frozenset({"side", "unit", "verdict", "measure", "judged", "matched", "changed"})


def html_of(headline: Headline, table: Table, checks: Sequence[str], cautions: Sequence[str] = ()) -> str:
    """Write the answer, what to check first, one row per side, and the cautions under a fold."""
    answer = f"<b>{escape(headline.answer)}.</b> " if headline.answer else ""
    first = "".join(f"<p>Check this first: {escape(point)}</p>" for point in checks)
    head = "".join(f"<th>{escape(cell)}</th>" for cell in table.header)
    rows = "".join(
        f"<tr><th>{escape(row[0])}</th>{''.join(f'<td>{escape(cell)}</td>' for cell in row[1:])}</tr>"
        for row in table.rows
    )
    careful = f"<details><summary>Careful</summary>{escape(' '.join(cautions))}</details>" if cautions else ""
    return (
        f"<div><p>{answer}{escape(headline.sentence)}</p>{first}"
        f"<table><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>{careful}</div>"
    )


def frame_of(rows: Sequence[Row]) -> pd.DataFrame:
    """Put rows into a frame; what is not known is NaN, and None in a column of words."""
    import pandas as pd

    frame = pd.DataFrame(list(rows))
    return frame.astype({name: float for name in frame.columns if name not in _WORDS})
