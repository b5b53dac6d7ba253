"""The page of the machine: what is typed, what follows, what is refused at its field, what is saved."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tuner.machine import read_machine, read_machine_file
from tuner.machine.form import Entry, MachineForm, form_of, read_form, with_unit, without_unit

ROOT = Path(__file__).resolve().parents[1]
BUGGY = ROOT / "sample_data" / "dune_hopper.toml"
STEP = "w_machine_step"


@pytest.fixture
def page() -> Any:
    from streamlit.testing.v1 import AppTest

    app = AppTest.from_file(str(ROOT / "dashboard" / "app.py"), default_timeout=60).run()
    app.switch_page("views/machine.py").run()
    assert not app.exception
    return app


def field(app: Any, label: str) -> Any:
    return next(each for each in app.text_input if each.label.startswith(label))


def how_well(app: Any, label: str) -> Any:
    """The question beside a field: the next select box in the order of the page."""
    key = field(app, label).key.replace("_text_", "_spread_")
    return app.selectbox(key=key)


def type_in(app: Any, label: str, text: str) -> None:
    field(app, label).set_value(text).run()
    assert not app.exception


def go(app: Any, step: str) -> None:
    app.segmented_control(key=STEP).set_value(step).run()
    assert not app.exception


def said(app: Any) -> str:
    bodies = (str(each.proto.body) for each in app.get("html"))
    return " ".join(body for body in bodies if "<style" not in body).replace("\u00a0", " ")


def fill_corner(app: Any) -> None:
    app.button(key="w_begin_rear left").click().run()
    type_in(app, "Sprung mass", "92")
    go(app, "Spring")
    type_in(app, "Spring rate", "28")
    go(app, "Motion ratio")
    type_in(app, "Damper travel / wheel", "0.7")


def saved(app: Any) -> Any:
    """The machine that the other pages work with."""
    from dashboard import cache

    held = app.session_state["session"].machine
    return None if held is None else read_machine(cache.data_of(held))


def test_three_numbers_make_a_machine(page):
    """92 kg on 28 N/mm at 0.70: sqrt(28000 * 0.49 / 92) / (2 pi) = 1.94 Hz."""
    fill_corner(page)

    assert "1.94" in said(page)
    assert saved(page).corner("rear left").spring_rate.value == pytest.approx(28e3)


def test_what_is_wrong_is_said_at_its_field_and_stays_there(page):
    page.button(key="w_begin_rear left").click().run()
    type_in(page, "Sprung mass", "ninety")

    assert field(page, "Sprung mass").value == "ninety"
    assert "Sprung mass must be a number with a unit of mass; got &#x27;ninety&#x27;" in said(page)
    go(page, "Spring")
    go(page, "Mass")
    assert field(page, "Sprung mass").value == "ninety"


def test_a_broken_corner_leaves_the_others_and_what_was_typed_alone(page):
    page.button(key="w_sample_machine").click().run()
    type_in(page, "Sprung mass", "-3")

    assert list(saved(page).corners) == ["rear right", "front left", "front right"]
    assert "Not in the file yet" in said(page)
    type_in(page, "Sprung mass", "92")
    assert len(saved(page).corners) == 4


def test_how_well_a_number_is_known_is_carried(page):
    fill_corner(page)
    go(page, "Mass")
    how_well(page, "Sprung mass").set_value("10 %").run()

    mass = saved(page).corner("rear left").sprung_mass
    assert (mass.low, mass.high) == pytest.approx((82.8, 101.2))


def test_units_change_the_numbers_that_are_shown_and_nothing_else(page):
    """92 kg = 202.8 lb (1 lb = 0.45359237 kg)."""
    page.button(key="w_sample_machine").click().run()
    before = saved(page)
    page.segmented_control(key="w_units").set_value("us").run()

    assert field(page, "Sprung mass").label == "Sprung mass of this corner (lb)"
    assert field(page, "Sprung mass").value == "202.8"
    assert saved(page) == before
    type_in(page, "Sprung mass", "200")
    assert saved(page).corner("rear left").sprung_mass.value == pytest.approx(200 * 0.45359237)


def test_a_spring_from_wire_and_coils(page):
    """G d^4 / (8 D^3 n) with 80 GPa, 10 mm, 76 mm, 8 coils: 28.5 N/mm."""
    page.button(key="w_begin_rear left").click().run()
    go(page, "Spring")
    for label, text in (("Wire", "10"), ("Mean diameter", "76"), ("Active coils", "8")):
        type_in(page, label, text)
    page.button(key="w_use_rear left_I can measure the wire a").click().run()

    assert float(field(page, "Spring rate").value) == pytest.approx(
        80e9 * 1e-8 / (8 * 0.076**3 * 8) / 1e3, rel=1e-3
    )


def test_a_sum_that_cannot_be_says_why(page):
    page.button(key="w_begin_rear left").click().run()
    type_in(page, "The scale shows", "20")
    type_in(page, "Unsprung mass", "28")

    assert "smaller than what the scale shows (20 kg); got 28 kg" in said(page)


def test_the_motion_ratio_table_with_its_curve(page):
    fill_corner(page)
    key = next(each.key for each in page.segmented_control if each.key.startswith("w_ratio_by_"))
    page.segmented_control(key=key).set_value("a tape-measure table").run()
    rows = [(0, 0), (60, 41), (120, 84), (180, 129), (240, 176)]
    stem, _, turn = key.replace("w_ratio_by_", "w_ratio_").rpartition("_")
    page.session_state[f"{stem}_metric_{turn}"] = {
        "edited_rows": {i: {"wheel (mm)": str(w), "damper (mm)": str(d)} for i, (w, d) in enumerate(rows)},
        "added_rows": [],
        "deleted_rows": [],
    }
    page.run()

    assert not page.exception
    ratio = saved(page).corner("rear left").motion_ratio
    assert ratio.wheel.tolist() == pytest.approx([w / 1000 for w, _ in rows])
    assert len(page.get("plotly_chart")) == 1


def test_another_corner_alike(page):
    fill_corner(page)
    next(each for each in page.button if each.label == "Add this corner").click().run()

    assert not page.exception
    machine = saved(page)
    assert machine.corner("rear right").spring_rate == machine.corner("rear left").spring_rate


def test_a_file_is_loaded_and_gives_the_same_machine(page):
    page.file_uploader[0].upload("buggy.toml", BUGGY.read_bytes(), "application/toml").run()

    assert not page.exception
    assert field(page, "Sprung mass").value == "92"
    type_in(page, "Sprung mass", "93")
    type_in(page, "Sprung mass", "92")
    assert saved(page) == read_machine_file(BUGGY)


def test_a_file_that_is_no_machine_is_explained(page):
    page.file_uploader[0].upload("wrong.toml", b"sprung_mass = 92 kg", "application/toml").run()

    assert not page.exception
    assert "must be valid TOML" in page.error[0].value


# --- the form itself ---------------------------------------------------------------------------------------------


def test_a_machine_goes_through_the_form_unchanged():
    machine = read_machine_file(BUGGY)

    assert read_form(form_of(machine)).machine == machine


@pytest.mark.parametrize(
    ("text", "kind", "stored"),
    [
        ("28", "stiffness", "28 N/mm"),
        ("28,5", "stiffness", "28,5 N/mm"),
        ("160 lbf/in", "stiffness", "160 lbf/in"),
        ("0.7", "ratio", "0.7"),
        ("abc", "mass", "abc"),
        ("", "mass", ""),
    ],
)
def test_a_bare_number_gets_the_unit_that_is_shown(text, kind, stored):
    assert with_unit(text, kind, "metric") == stored


def test_text_that_is_no_number_is_shown_as_it_was_typed():
    assert without_unit("about 90", "mass", "us") == "about 90"


def test_refusals_stand_at_their_places():
    form = form_of(read_machine_file(BUGGY))
    form = form.with_entry("rear right", "static_travel", Entry("300 mm")).with_entry(
        "", "wheelbase", Entry("9 kg")
    )
    form = form.with_entry("front left", "motion_ratio_by", Entry("table"))
    form = form.with_rows("front left", [("0 mm", "0 mm"), ("100 mm", "")])
    found = read_form(form)

    assert {("rear right", "static_travel"), ("", "wheelbase"), ("front left", "motion_ratio")} <= set(
        found.problems
    )
    assert "row 2" in found.problems["front left", "motion_ratio"].message
    assert list(found.corners) == ["rear left", "front right"]


def test_an_empty_form_has_no_machine_and_no_complaint():
    assert read_form(MachineForm()).machine is None
    assert read_form(MachineForm("x", ("rear",))).problems == {}
    assert [key for _, key in read_form(MachineForm("x", ("rear",))).missing] == [
        "sprung_mass",
        "spring_rate",
        "motion_ratio",
    ]


@pytest.mark.parametrize("text", ["-3", "0"])
def test_what_cannot_be_is_said_at_its_field_before_the_corner_is_complete(page, text):
    page.button(key="w_begin_rear left").click().run()
    type_in(page, "Sprung mass", text)

    assert "Not yet:</b> Sprung mass must be positive" in said(page)
    assert "To put right: Sprung mass must be positive" in said(page)


def test_two_numbers_that_do_not_go_together_are_both_named_on_every_step(page):
    fill_corner(page)
    go(page, "Mass")
    type_in(page, "Sprung mass", "9500")

    assert "To put right: Spring rate must be a spring that fits 9500 kg" in said(page)
