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


PHONE = (390, 844)


@pytest.mark.parametrize(
    "address",
    [
        "change?example=drained",
        "change?example=thinner",
        "pair?example=twins",
        "one?example=weights",
        "one?example=bounce",
        "change?example=drives",
    ],
)
def test_one_screen_of_a_phone_is_the_answer(visit, address):
    """Answer, number of the affected side, what now and the beginning of a picture, without scrolling."""
    here = visit(*PHONE)
    here.open(address)
    here.page.locator(".js-plotly-plot .main-svg").first.wait_for(timeout=2 * WAIT)
    here.rest()
    ends = {
        name: here.page.locator(name).first.bounding_box()
        for name in (".lead", ".tag :is(.number, .verdict)", ".now")
    }
    picture = here.page.locator(".js-plotly-plot").first.bounding_box()

    assert {name: box["y"] + box["height"] <= PHONE[1] for name, box in ends.items()} == dict.fromkeys(
        ends, True
    )
    assert picture["y"] < PHONE[1]
    tops = [box["y"] for box in ends.values()]
    assert [*tops, picture["y"]] == sorted([*tops, picture["y"]])


def test_the_whole_card_of_a_question_is_its_link(visit):
    here = visit(*PHONE)
    here.open()
    here.page.get_by_text("One test before the change, one after it.").wait_for(timeout=WAIT)
    box = here.page.locator(".st-key-question_change").bounding_box()
    here.page.mouse.click(box["x"] + box["width"] - 15, box["y"] + box["height"] - 8)

    here.page.get_by_text("Test before the change", exact=True).first.wait_for(timeout=WAIT)


def test_what_is_pressed_on_a_phone_is_a_finger_high(visit):
    here = visit(*PHONE, has_touch=True)
    here.open("change?example=thinner")
    here.page.locator(".verdicts").wait_for(timeout=WAIT)
    here.rest()
    pressed = here.page.locator("[data-testid=stMain] :is(button, summary, a)").filter(visible=True)
    heights = {each.inner_text(): each.bounding_box()["height"] for each in pressed.all()}

    assert heights
    assert {name: height for name, height in heights.items() if height < 44} == {}


@pytest.mark.parametrize("picture", [".js-plotly-plot >> nth=0", ".st-key-w_whole .js-plotly-plot"])
def test_a_swipe_over_a_picture_moves_the_page(visit, picture):
    here = visit(*PHONE, has_touch=True, is_mobile=True)
    here.open("one?example=cycles")
    here.page.locator(".js-plotly-plot .main-svg").first.wait_for(timeout=2 * WAIT)
    here.unfold_why()
    place = here.page.locator(picture)
    place.wait_for(timeout=WAIT)
    here.page.wait_for_timeout(1000)
    place.evaluate("picture => picture.scrollIntoView({block: 'center'})")
    here.page.wait_for_timeout(300)
    before = place.bounding_box()
    x, y = before["x"] + before["width"] / 2, before["y"] + before["height"] / 2
    fingers = here.page.context.new_cdp_session(here.page)
    fingers.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [{"x": x, "y": y}]})
    for moved in range(10, 160, 10):
        at = {"x": x, "y": y - moved}
        fingers.send("Input.dispatchTouchEvent", {"type": "touchMove", "touchPoints": [at]})
        here.page.wait_for_timeout(16)
    fingers.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    here.page.wait_for_timeout(400)

    assert before["y"] - place.bounding_box()["y"] > 100
