"""The verdict at one glance: the answer, a card per side with its number, what to check first, and what now."""

from __future__ import annotations

import html
import re

import streamlit as st

from dashboard.widgets.cards import CLEAR, NO, OPEN, YES, Answer, Card
from dashboard.widgets.drawings import SIGN, STRIP, image_html
from dashboard.widgets.pages import escaped, points_html
from tuner.wording import provided
from tuner.wording.layout import FIRST, ONWARD

WHY = "Show me why"

# a sign per verdict, told apart by shape alone: a band between two posts, and what moved
_POSTS = '<path d="M22 6v28M38 6v28" class="post"/>'
SIGNS = {
    "toward": f'{_POSTS}<path d="M2 20h24M20 13l8 7-8 7" class="move"/>',
    "away": f'{_POSTS}<path d="M30 20H6M12 13l-8 7 8 7" class="move"/>',
    "no clear change": '<path d="M8 15h24M8 25h24" class="move"/>',
    "changed inside": '<path d="M3 6v28M37 6v28" class="post"/><path d="M9 20h21M24 13l7 7-7 7" class="move"/>',
    "cannot tell": '<path d="M13 14c0-10 15-10 15 0 0 7-8 6-8 13" class="move"/><path d="M20 33v.6" class="move"/>',
    "inside": f'{_POSTS}<path d="M30 15l5 5-5 5-5-5z" class="dot"/>',
    "below": f'{_POSTS}<path d="M9 15l5 5-5 5-5-5z" class="dot"/>',
    "above": '<path d="M4 6v28M20 6v28" class="post"/><path d="M31 15l5 5-5 5-5-5z" class="dot"/>',
    "alike": '<path d="M7 20h26M7 12h26M7 28h26" class="move"/>',
    "not alike": '<path d="M8 15h24M8 25h24M26 7L14 33" class="move"/>',
    "changed": '<path d="M14 30V10M8 16l6-6 6 6M27 10v20M21 24l6 6 6-6" class="move"/>',
    "up": '<path d="M20 34V7M11 16l9-9 9 9" class="move"/>',
    "down": '<path d="M20 6v27M11 24l9 9 9-9" class="move"/>',
    "measured": '<path d="M20 15l5 5-5 5-5-5zM6 20h9M25 20h9" class="move"/>',
}
SIGNS |= {"uncertain": SIGNS["cannot tell"], "unknown": SIGNS["measured"]}
# the mark beside the answer, for those who see no difference of frames
TONES = {
    YES: '<path d="M7 21l9 9L33 9" class="move"/>',
    NO: '<path d="M9 9l22 22M31 9L9 31" class="move"/>',
    OPEN: SIGNS["cannot tell"],
}


def show(answer: Answer) -> None:
    """Show the first screen of a result; the first card stands whole, on a phone the others in brief."""
    word, sentence = provided(answer.headline, answer.checks)
    tone = OPEN if answer.checks and answer.tone in (YES, NO) else answer.tone
    heading = 'role="heading" aria-level="2"'
    asked = f'<p class="asked">{escaped(answer.question)}</p>' if answer.question else ""
    head = f'<p class="answer" {heading}>{escaped(word)}</p>' if word else ""
    mark = _sign(TONES[tone], "mark") if word and tone in TONES else ""
    cards = "".join(_card(card, brief=number > 0) for number, card in enumerate(answer.cards))
    needed = "".join(f'<p class="needed">{escaped(text)}</p>' for text in answer.needed)
    st.html(
        f'<section class="verdicts" aria-label="The verdict" role="status">{asked}'
        f'<div class="reply {tone if word else CLEAR}">{mark}{head}</div>'
        f'<p class="lead" {"" if word else heading}>{escaped(sentence)}</p>'
        f'<div class="tags">{cards}</div>{needed}{_check(answer)}{_now(answer)}</section>'
    )


def _check(answer: Answer) -> str:
    if not answer.checks:
        return ""
    more = len(answer.checks) - 1
    rest = f"<p>{more} more under “{WHY}”.</p>" if more else ""
    points = points_html(answer.checks[:1])
    return f'<div class="check words" role="note" aria-label="{FIRST}">{points}{rest}</div>'


def _now(answer: Answer) -> str:
    return f'<p class="now"><b>{ONWARD}:</b> {escaped(answer.step)}</p>' if answer.step else ""


def _sign(drawing: str, kind: str) -> str:
    return image_html(f'<svg viewBox="0 0 40 40">{drawing}</svg>', "", kind, SIGN)


def _card(card: Card, *, brief: bool) -> str:
    tag = card.tag
    sure = f'<p class="sure">{escaped(tag.sure)}</p>' if tag.sure else ""
    lines = "".join(f'<p class="line">{escaped(text)}</p>' for text in tag.lines)
    strip = image_html(str(tag.strip), _words(str(tag.strip)), "strip", STRIP) if tag.strip else ""
    drawn = _sign(SIGNS[card.sign], "sign") if card.sign in SIGNS else ""
    motion = f" <span>({escaped(tag.motion)})</span>" if tag.motion else ""
    value, _, interval = card.number.partition(" (")
    within = f" <small>({escaped(interval)}</small>" if interval else ""
    number = f'<p class="number">{escaped(value)}{within}</p>' if value else ""
    kind = f"tag{' brief' if brief else ''}{' drawn' if card.drawn else ''}"
    return (
        f'<article class="{kind}"><div class="side"><h3>{escaped(tag.name)}{motion}</h3>{number}</div>'
        f'<div class="judged">{drawn}<div><p class="verdict">{escaped(tag.verdict)}</p>{sure}</div></div>'
        f"{strip}{lines}</article>"
    )


def _words(svg: str) -> str:
    """Give what a strip says to people who cannot see it."""
    found = re.search(r'aria-label="([^"]*)"', svg)
    return html.unescape(found[1]) if found else ""
