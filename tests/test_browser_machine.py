"""The machine in a real browser: from nothing to a corner that fits, wide and narrow, light and dark."""

from __future__ import annotations

import pytest

SCREENS = [(1280, "light"), (390, "dark")]


def write(here, label: str, text: str) -> None:
    box = here.page.get_by_label(label, exact=True)
    box.fill(text)
    box.press("Tab")
    here.rest()


@pytest.mark.parametrize(("width", "colours"), SCREENS)
def test_a_corner_from_three_numbers(visit, width, colours):
    """92 kg on 28 N/mm at 0.70 swing at 1.94 Hz; a word in the place of a number is kept and explained."""
    here = visit(width, colours=colours)
    here.open("machine")
    here.page.get_by_role("button", name="rear left").click()
    here.page.get_by_label("Sprung mass of this corner (kg)").wait_for()
    write(here, "Sprung mass of this corner (kg)", "ninety")

    assert "got 'ninety'" in here.page.locator(".wrong").first.inner_text()
    assert here.page.get_by_label("Sprung mass of this corner (kg)").input_value() == "ninety"
    write(here, "Sprung mass of this corner (kg)", "92")
    here.page.get_by_role("button", name="Next: Spring").click()
    here.page.get_by_label("Spring rate (N/mm)").wait_for()
    write(here, "Spring rate (N/mm)", "28")
    here.page.get_by_role("button", name="Next: Motion ratio").click()
    here.page.get_by_label("Damper travel / wheel travel").wait_for()
    write(here, "Damper travel / wheel travel", "0.7")
    here.page.locator(".fits").wait_for()

    assert "1.94" in here.page.locator(".sheet").inner_text()
    here.page.get_by_role("button", name="Save the machine file").wait_for()
    assert here.sideways == 0


@pytest.mark.parametrize(("width", "colours"), SCREENS)
def test_the_invented_buggy_shows_every_step(visit, width, colours):
    here = visit(width, colours=colours)
    here.open("machine")
    here.page.get_by_role("button", name="Use the invented buggy").click()
    here.page.locator(".fits").wait_for()
    for step in ("Spring", "Motion ratio", "Travel", "Tyre"):
        here.page.locator(".st-key-w_machine_step button", has_text=step).click()
        here.rest()
        assert here.sideways == 0
