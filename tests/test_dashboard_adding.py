"""Adding records: pasted and typed tables, menus that put a reading right, what was on the damper."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tuner.errors import ReadError
from tuner.reading import read_bytes
from tuner.reading.table.typed import typed_table

ROOT = Path(__file__).resolve().parents[1]
SWEEP = (
    "Speed (m/s)\tCompression force (N)\tRebound force (N)\n0.05\t60\t150\n0.13\t120\t380\n0.26\t220\t700\n"
)


@pytest.fixture
def page() -> Any:
    from streamlit.testing.v1 import AppTest

    app = AppTest.from_file(str(ROOT / "dashboard" / "app.py"), default_timeout=60).run()
    app.switch_page("views/one.py").run()
    assert not app.exception
    return app


def run_of(app: Any) -> Any:
    return app.session_state["session"].one[0]


def unfold(app: Any, key: str) -> None:
    """Open a fold, and the one of all tests around it once there is a result."""
    app.session_state[key] = app.session_state["tests_one_False"] = True
    app.run()
    assert not app.exception


def paste(app: Any, text: str) -> None:
    unfold(app, "table_one_0")
    app.text_area[0].set_value(text).run()
    app.button(key="w_paste_one_0").click().run()
    assert not app.exception


def look(app: Any) -> None:
    unfold(app, "read_one_0_0")
    app.toggle(key="w_menu_one_0_0_open").set_value(True).run()
    assert not app.exception


def test_a_pasted_table_is_read(page):
    paste(page, SWEEP)

    assert [each.held.name for each in run_of(page).recordings] == ["pasted table 1.csv"]
    assert not page.error


def test_the_menus_show_the_guess_and_change_it(page):
    paste(page, SWEEP)
    look(page)
    page.selectbox(key="w_menu_one_0_0_unit_velocity_m/s").set_value("in/s").run()

    assert not page.exception
    assert dict(run_of(page).recordings[0].said.units) == {"velocity": "in/s"}


def test_columns_without_names_are_put_right_by_menus(page):
    """A table that says nothing is refused, and the menus lead out of it."""
    paste(page, "a;b;c\n" + "\n".join(f"{v};{2000 * v};{4000 * v}" for v in (0.05, 0.13, 0.26, 0.5)))

    assert page.error
    unfold(page, "read_one_0_0")
    page.selectbox(key="w_menu_one_0_0_kind").set_value("sweep").run()
    assert not page.exception
    assert run_of(page).recordings[0].said.kind == "sweep"


def test_what_was_on_the_damper_is_noted_for_the_run(page):
    paste(page, SWEEP)
    unfold(page, "noted_one_0")
    for label, text in (("Oil", "thin"), ("Viscosity", "15"), ("Clicks", "4")):
        next(each for each in page.text_input if each.label.startswith(label)).set_value(text).run()

    assert not page.exception
    assert dict(run_of(page).noted) == {"oil": "thin", "viscosity": "15 mm**2/s", "clicks": "4"}
    page.session_state["noted_one_0"] = False
    page.run()
    assert not page.text_input
    assert any("Noted: oil, viscosity at 40 °C, clicks." in str(each.proto.body) for each in page.get("html"))


def test_a_wrong_note_is_said_and_kept(page):
    unfold(page, "noted_one_0")
    next(each for each in page.text_input if each.label.startswith("Viscosity")).set_value("thick").run()

    assert not page.exception
    assert any("wrong" in str(each.proto.body) for each in page.get("html"))
    assert dict(run_of(page).noted) == {"viscosity": "thick"}


@pytest.mark.parametrize("system", ["metric", "us"])
def test_a_typed_sweep_is_read_like_a_file(system):
    data = typed_table("sweep", [["0,05", 60, 150], ["0.13", "120", "380"], [None, "", None]], system)
    record = read_bytes(data, "typed.csv").record

    first = 0.05 if system == "metric" else 0.05 * 0.0254
    assert abs(record.velocity).min() == pytest.approx(first)
    assert record.velocity.size == 4


def test_an_empty_typed_table_is_refused():
    with pytest.raises(ReadError, match="at least one row"):
        typed_table("weights", [["", None, " ", ""]], "metric")
