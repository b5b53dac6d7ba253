"""The verdict at one glance: an answer in words, and one workshop tag per side with its sign and strip."""

from __future__ import annotations

import html
import re
from collections.abc import Sequence

import streamlit as st

from dashboard.widgets.drawings import SIGN, STRIP, image_html
from dashboard.widgets.pages import escaped, points_html
from tuner.report.sheet import Tag
from tuner.wording import Headline, provided
from tuner.wording.layout import FIRST

# a sign per verdict, told apart by shape alone: a band between two posts, and what moved
_POSTS = '<path d="M22 6v28M38 6v28" class="post"/>'
SIGNS = {
    "toward": f'{_POSTS}<path d="M2 20h24M20 13l8 7-8 7" class="move"/>',
    "away": f'{_POSTS}<path d="M30 20H6M12 13l-8 7 8 7" class="move"/>',
    "no clear change": '<path d="M8 15h24M8 25h24" class="move"/>',
    "cannot tell": '<path d="M13 14c0-10 15-10 15 0 0 7-8 6-8 13" class="move"/><path d="M20 33v.6" class="move"/>',
    "inside": f'{_POSTS}<path d="M30 15l5 5-5 5-5-5z" class="dot"/>',
    "below": f'{_POSTS}<path d="M9 15l5 5-5 5-5-5z" class="dot"/>',
    "above": '<path d="M4 6v28M20 6v28" class="post"/><path d="M31 15l5 5-5 5-5-5z" class="dot"/>',
    "alike": '<path d="M7 20h26M7 12h26M7 28h26" class="move"/>',
    "not alike": '<path d="M8 15h24M8 25h24M26 7L14 33" class="move"/>',
    "changed": '<path d="M14 30V10M8 16l6-6 6 6M27 10v20M21 24l6 6 6-6" class="move"/>',
    "measured": '<path d="M20 15l5 5-5 5-5-5zM6 20h9M25 20h9" class="move"/>',
}
SIGNS |= {"uncertain": SIGNS["cannot tell"], "unknown": SIGNS["measured"]}


def show(headline: Headline, checks: Sequence[str], tags: Sequence[Tag], signs: Sequence[str]) -> None:
    """Show the answer, its sentence, what to check first, and the tags; `signs` name a sign per tag, "" for none."""
    answer, sentence = provided(headline, checks)
    named = (*signs, *[""] * len(tags))
    cards = "".join(_card(tag, named[i]) for i, tag in enumerate(tags))
    heading = 'role="heading" aria-level="2"'
    head = f'<p class="answer" {heading}>{escaped(answer)}</p>' if answer else ""
    first = (
        f'<div class="check words" role="note" aria-label="{FIRST}">{points_html(checks)}</div>'
        if checks
        else ""
    )
    st.html(
        f'<section class="verdicts" aria-label="The verdict" role="status">{head}'
        f'<p class="lead" {"" if answer else heading}>{escaped(sentence)}</p>{first}'
        f'<div class="tags">{cards}</div></section>'
    )


def _card(tag: Tag, sign: str) -> str:
    sure = f'<p class="sure">{escaped(tag.sure)}</p>' if tag.sure else ""
    lines = "".join(f"<p>{escaped(text)}</p>" for text in tag.lines)
    strip = image_html(str(tag.strip), _words(str(tag.strip)), "strip", STRIP) if tag.strip else ""
    drawn = (
        image_html(f'<svg viewBox="0 0 40 40">{SIGNS[sign]}</svg>', "", "sign", SIGN) if sign in SIGNS else ""
    )
    motion = f" <span>({escaped(tag.motion)})</span>" if tag.motion else ""
    return (
        f'<article class="tag"><h3>{escaped(tag.name)}{motion}</h3><div class="judged">{drawn}'
        f'<div><p class="verdict">{escaped(tag.verdict)}</p>{sure}</div></div>{strip}{lines}</article>'
    )


def _words(svg: str) -> str:
    """Give what a strip says to people who cannot see it."""
    found = re.search(r'aria-label="([^"]*)"', svg)
    return html.unescape(found[1]) if found else ""
