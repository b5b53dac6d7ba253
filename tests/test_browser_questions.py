"""Every question on the first screen, from start to result, in a real browser: what a visitor sees and does."""

from __future__ import annotations

import re

import pytest
from browsing import SAMPLES, WAIT

BEFORE = [SAMPLES / f"rear_left_before_run{n}.csv" for n in (1, 2)]
AFTER = [SAMPLES / f"rear_left_after_draining_run{n}.csv" for n in (1, 2)]
SCREENS = [(1280, "light"), (390, "dark")]


@pytest.mark.parametrize(("width", "colours"), SCREENS)
def test_the_first_screen_asks_four_questions(visit, width, colours):
    here = visit(width, colours=colours)
    here.open()
    questions = here.page.get_by_role("link", name=re.compile(r"\?$"))
    questions.nth(3).wait_for()

    assert questions.all_inner_texts() == [
        "Did my change help?",
        "Are these two dampers alike?",
        "What does this one recording say?",
        "How do I test without a bench?",
    ]
    assert here.sideways == 0


@pytest.mark.parametrize(("width", "colours"), SCREENS)
def test_a_change_from_two_files_to_the_verdict(visit, width, colours):
    """The sample's truth: rebound fell by a third, out of the band; compression hardly moved."""
    here = visit(width, colours=colours)
    here.open()
    here.page.get_by_role("link", name="Did my change help?", exact=True).click()
    here.page.get_by_text("Test before the change", exact=True).first.wait_for()
    here.add(BEFORE, 0)
    here.add(AFTER, 1)

    assert here.answer in ("A clear change", "No", "Cannot tell")
    assert "on the way out is now 3" in here.verdict
    assert here.sideways == 0


@pytest.mark.parametrize(
    ("width", "colours", "link", "answer", "said"),
    [
        (1280, "light", "oil let out, on a bench", "No", "Rebound (on the way out) moved away"),
        (390, "dark", "thinner oil, peak forces", "Yes", "Rebound (on the way out) moved toward"),
        (390, "light", "rear left against rear right", "Not alike", "Rebound differs by more than 10 %"),
        (1280, "dark", "two drives", "A clear change", "rides higher"),
        (390, "dark", "oil let out, by phone", None, "holds the spring back"),
    ],
)
def test_an_example_is_one_click_away(visit, width, colours, link, answer, said):
    """What the samples are known to hold: the README of the sample files tells each story."""
    here = visit(width, colours=colours)
    here.open()
    here.page.get_by_role("link", name=link).click()

    assert answer in (None, here.answer)
    assert said in here.verdict
    here.page.locator(".js-plotly-plot .main-svg").first.wait_for(timeout=WAIT)
    here.rest()
    assert here.sideways == 0
