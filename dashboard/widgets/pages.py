"""Sections, points and tables of words as they stand on a page; a table is lined, on a phone one card a row.

Takes `tuner.wording` sections and tables; gives nothing. Every text is escaped.
"""

from __future__ import annotations

import html
from collections.abc import Iterable, Sequence

import streamlit as st

from dashboard.markdown import plain
from dashboard.widgets.cards import Answer
from tuner.wording import Section, Table
from tuner.wording.layout import FIRST, tied


def escaped(text: str) -> str:
    """Make text safe in HTML; a value and its ± stay together."""
    return html.escape(tied(text))


def points_html(points: Iterable[str]) -> str:
    """Give points as a list."""
    items = "".join(f"<li>{escaped(text)}</li>" for text in points)
    return f"<ul>{items}</ul>" if items else ""


def table_html(table: Table) -> str:
    """Give a table; the first cell of a row is its heading."""
    caption = f"<caption>{escaped(table.title)}</caption>" if table.title else ""
    head = "".join(f'<th scope="col">{escaped(cell) or "&nbsp;"}</th>' for cell in table.header)
    rows = []
    for row in table.rows:
        cells = [f'<th scope="row">{escaped(row[0])}</th>']
        cells += [
            f'<td data-label="{escaped(name)}"><span>{escaped(cell)}</span></td>'
            for name, cell in zip(table.header[1:], row[1:], strict=True)
        ]
        rows.append(f"<tr>{''.join(cells)}</tr>")
    kind = ' class="pairs"' if len(table.header) == 2 else ""
    return (
        f'<div class="sheet"><table{kind}>{caption}<thead><tr>{head}</tr></thead>'
        f"<tbody>{''.join(rows)}</tbody></table></div>"
    )


def section_html(section: Section) -> str:
    """Give a section without its title."""
    paragraphs = "".join(f"<p>{escaped(text)}</p>" for text in section.paragraphs)
    tables = "".join(table_html(table) for table in section.tables)
    return f'<div class="words">{paragraphs}{points_html(section.points)}{tables}</div>'


def show_section(section: Section) -> None:
    """Show a section under its title."""
    if section.title:
        st.subheader(plain(tied(section.title)), anchor=False)
    st.html(section_html(section))


def show_sections(sections: Sequence[Section], titles: Sequence[str]) -> None:
    """Show the sections of these titles, in the order of the titles."""
    known = {section.title: section for section in sections}
    for title in titles:
        if title in known:
            show_section(known[title])


def folded(sections: Sequence[Section], titles: Sequence[str]) -> None:
    """Show the sections of these titles folded up, each under its title."""
    known = {section.title: section for section in sections}
    for title in titles:
        if title in known:
            with st.expander(plain(tied(title))):
                st.html(section_html(known[title]))


def show_answer(answer: Answer, more: Sequence[str] = ()) -> None:
    """Show each side in words, what is said beside them, and what is to be checked."""
    said = [f"{card.tag.name}: {' '.join(card.tag.lines)}" for card in answer.cards if card.tag.lines]
    st.html(f'<div class="words">{points_html((*said, *more))}</div>')
    show_points(FIRST, answer.checks)


def show_heading(title: str) -> None:
    """Show the first heading under the title of a page."""
    st.html(f'<h2 class="heading">{escaped(title)}</h2>')


def show_points(title: str, points: Sequence[str]) -> None:
    """Show points under a title, nothing without any."""
    if points:
        st.subheader(title, anchor=False)
        st.html(f'<div class="words">{points_html(points)}</div>')


def show_steps(title: str, steps: Sequence[str]) -> None:
    """Show numbered steps under a title."""
    st.subheader(title, anchor=False)
    items = "".join(f"<li>{escaped(text)}</li>" for text in steps)
    st.html(f'<ol class="steps">{items}</ol>')


def show_cautions(cautions: Sequence[str]) -> None:
    """Show cautions in one quiet box."""
    if cautions:
        st.html(f'<div class="caution words">{points_html(cautions)}</div>')
