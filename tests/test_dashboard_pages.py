"""The logic of the pages, run in this process: what is asked, shown, refused and remembered."""

from __future__ import annotations

import base64
import re
from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from dashboard import cache
from dashboard.examples import EXAMPLES
from dashboard.markdown import plain
from dashboard.routes import PAGES
from dashboard.session import Session
from dashboard.widgets.verdict import SIGNS

ROOT = Path(__file__).resolve().parents[1]
SAMPLES = ROOT / "sample_data"
QUICK = [name for name in EXAMPLES if "bounce" not in name]  # a bounce is fitted for seconds


def page(name: str = "start", **address: str) -> AppTest:
    """Open a page at an address; nothing may go wrong on the way."""
    at = AppTest.from_file(str(ROOT / "dashboard" / "app.py"), default_timeout=120)
    for key, text in address.items():
        at.query_params[key] = text
    at.run()
    if name != "start":
        at.switch_page(f"views/{PAGES[name][0]}").run()
    return sound(at)


def sound(at: AppTest) -> AppTest:
    """Hold that no defect of ours is shown."""
    assert [each.value for each in at.exception] == []
    return at


def words(at: AppTest) -> str:
    """Everything written on the page as HTML or markdown."""
    html = [each.proto.body for each in at.main if each.type == "html"]
    found = [*html, *(each.value for each in (*at.markdown, *at.title, *at.subheader, *at.caption))]
    return " ".join(str(text) for text in found).replace("\u00a0", " ").replace("\\", "")


def session(at: AppTest) -> Session:
    held = at.session_state["session"]
    assert isinstance(held, Session)
    return held


def unfold(at: AppTest, question: str) -> AppTest:
    """Open the fold of the tests that stands over a result."""
    at.session_state[f"tests_{question}_False"] = True
    return sound(at.run())


def unfold_why(at: AppTest, question: str) -> AppTest:
    """Open the fold with everything that the first screen of a result leaves out."""
    at.session_state[f"why_{question}"] = True
    return sound(at.run())


def verdict(at: AppTest) -> list[str]:
    return [str(each.proto.body) for each in at.get("html") if "The verdict" in each.proto.body]


def step(at: AppTest) -> str:
    """The words of the change that is judged, of more than two tests."""
    box = at.selectbox(key="w_step")
    return str(box.options[box.index])


def add(at: AppTest, question: str, position: int, *files: Path | tuple[str, bytes]) -> AppTest:
    """Add files at a place of a page, as an upload does."""
    place = next(
        each for each in at.get("file_uploader") if f"add_{question}_{position}_" in str(each.proto.id)
    )
    for file in files:
        name, data = file if isinstance(file, tuple) else (file.name, file.read_bytes())
        place.upload(name, data, "text/csv")
    return sound(at.run())


@pytest.mark.parametrize("name", PAGES)
def test_every_page_opens_with_nothing_added(name):
    at = page(name)

    assert at.title[0].value
    assert not at.error


@pytest.mark.parametrize("name", QUICK)
def test_every_example_shows_its_result(name):
    at = page(EXAMPLES[name].question, example=name)

    assert 'aria-label="The verdict"' in words(at)
    assert at.get("plotly_chart")
    assert next(button.label for button in at.get("download_button")).startswith("Report")


@pytest.mark.parametrize("name", ["drained", "twins", "cycles"])
def test_us_units_are_shown_everywhere(name):
    at = page(EXAMPLES[name].question, example=name, units="us")
    shown = words(unfold_why(at, EXAMPLES[name].question))

    assert "in/s" in shown
    assert "lbf" in shown
    assert " m/s" not in shown
    assert "N·s/m" not in shown


def test_an_example_can_be_left_for_ones_own_files():
    at = page("change", example="drained")
    at.button(key="w_own").click().run()

    assert session(sound(at)).example is None
    assert "Test before the change" in words(at)
    assert "The verdict" not in words(at)


def test_two_files_lead_to_the_verdict():
    at = page("change")
    add(at, "change", 0, SAMPLES / "front_left_thick_oil.csv")
    assert "The verdict" not in words(at)
    add(at, "change", 1, SAMPLES / "front_left_thin_oil.csv")

    assert "A clear change" in words(at)
    assert "needs the machine and its corner" in words(at)


def test_the_machine_turns_damping_into_a_verdict():
    at = page("machine")
    at.button(key="w_sample_machine").click().run()
    at.switch_page("views/change.py").run()
    add(at, "change", 0, SAMPLES / "front_left_thick_oil.csv")
    add(at, "change", 1, SAMPLES / "front_left_thin_oil.csv")
    unfold(at, "change").selectbox(key="w_corner").select("front left").run()

    assert '<p class="answer" role="heading" aria-level="2">Yes</p>' in words(sound(at))


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("shopping.csv", b"item,price\nbread,2\nmilk,3\n"),
        ("empty.csv", b""),
        ("picture.csv", bytes(range(256)) * 20),
        ("no header.csv", b"1,2,3\n4,5,6\n"),
        ("half.csv", b"time (s),travel (mm),force (N)\n0,0,0\n"),
    ],
)
def test_a_wrong_file_is_refused_where_it_stands_and_nothing_is_lost(name, data):
    at = page("change")
    add(at, "change", 0, SAMPLES / "front_left_thick_oil.csv")
    add(at, "change", 1, (name, data))

    assert len(at.error) == 1
    assert name in at.error[0].value.replace("\\", "")
    assert "--" not in at.error[0].value.replace("\\", "")
    assert "The verdict" not in words(at)
    assert len(session(at).change[0].recordings) == 1

    at.button(key="w_drop_change_1_0").click().run()
    add(at, "change", 1, SAMPLES / "front_left_thin_oil.csv")

    assert "A clear change" in words(at)


def test_a_recording_is_no_repeat_of_itself():
    at = page("one")
    data = (SAMPLES / "front_left_thick_oil.csv").read_bytes()
    add(at, "one", 0, ("a.csv", data))
    add(unfold(at, "one"), "one", 0, ("b.csv", data))

    assert [each.held.name for each in session(at).one[0].recordings] == ["a.csv"]


def test_names_of_files_are_shown_as_they_are():
    name = "<img src=x onerror=alert(1)> *run* [1](a).csv"
    at = page("one")
    add(at, "one", 0, (name, (SAMPLES / "front_left_thick_oil.csv").read_bytes()))
    unfold_why(at, "one")

    assert "&lt;img src=x onerror=alert(1)&gt; *run*" in words(at)
    assert "<img src=x" not in words(at)


def test_a_further_change_draws_the_path():
    at = page("change")
    add(at, "change", 0, SAMPLES / "rear_left_before_run1.csv")
    add(at, "change", 1, SAMPLES / "rear_left_after_draining_run1.csv")
    unfold(at, "change").button(key="w_further").click().run()
    assert "The verdict" in words(sound(at))  # of the first two, while the third is missing
    add(at, "change", 2, SAMPLES / "rear_left_before_run2.csv")

    assert "The path so far" in words(at)
    assert step(at) == "after → after change 2"
    assert "on the way out is now" in words(at)

    unfold(at, "change").button(key="w_drop_run_2").click().run()
    assert "The path so far" not in words(sound(at))


def with_three_tests() -> AppTest:
    """A page with three tests: on the bench, drained, and filled again."""
    at = page("change")
    add(at, "change", 0, SAMPLES / "rear_left_before_run1.csv")
    add(at, "change", 1, SAMPLES / "rear_left_after_draining_run1.csv")
    unfold(at, "change").button(key="w_further").click().run()
    return add(at, "change", 2, SAMPLES / "rear_left_before_run2.csv")


def test_with_a_further_test_the_newest_two_are_compared():
    at = with_three_tests()
    at.selectbox(key="w_step").select_index(0).run()
    assert step(sound(at)) == "before → after"
    assert "now holds the spring back 3" in words(at)
    unfold(at, "change").button(key="w_further").click().run()
    add(at, "change", 3, SAMPLES / "rear_left_after_draining_run2.csv")

    assert step(at) == "after change 2 → after change 3"


def test_the_address_holds_which_change_is_looked_at():
    at = with_three_tests()
    assert "step" not in at.query_params
    at.selectbox(key="w_step").select_index(0).run()
    address: Any = {name: at.query_params[name] for name in ("session", "step")}
    again = page("change", **address)

    assert step(again) == step(sound(at)) == "before → after"
    assert verdict(again) == verdict(at) != []
    assert step(page("change", **address | {"step": "7-8"})) == "after → after change 2"


def test_a_further_test_is_offered_where_the_tests_are():
    at = page("change")
    add(at, "change", 0, SAMPLES / "front_left_thick_oil.csv")
    add(at, "change", 1, SAMPLES / "front_left_thin_oil.csv")
    assert "w_further" not in [each.key for each in at.button]
    assert at.expander[0].label.startswith("The tests and the corner")
    assert at.expander[0].label.endswith("add a further test")
    unfold(at, "change")

    assert "w_further" in [each.key for each in at.expander[0].button]


def test_a_link_whose_files_are_gone_says_so():
    at = page("change", session="0" * 32)
    assert "no longer held here" in at.warning[0].value
    add(at, "change", 0, SAMPLES / "front_left_thick_oil.csv")
    assert not at.warning
    assert not page("change").warning


def test_a_link_to_a_file_that_was_pushed_out_says_so(monkeypatch):
    first = page("one")
    add(first, "one", 0, ("pushed_out.csv", (SAMPLES / "front_left_thick_oil.csv").read_bytes() + b"\n"))
    address: Any = {"session": first.query_params["session"]}
    cache._bytes.clear()
    cache._work.clear()
    again = page("one", **address)

    assert "no longer held by this program" in again.error[0].value.replace("\\", "")


def test_names_stand_for_themselves_in_labels():
    """Labels are read as Markdown: a formula, a colour or a link in a name would work there."""
    name = "$a$ **b** :red[c] [d](e)"
    at = page("pair")
    at.text_input(key="w_called_0").set_value(name).run()
    add(at, "pair", 0, SAMPLES / "pair_rear_left.csv")
    add(at, "pair", 1, SAMPLES / "pair_rear_right.csv.gz")
    labels = [each.label for each in (*at.expander, *at.get("download_button"), *at.get("file_uploader"))]
    shown = [label for label in labels if "a" in label and "d" in label and "e" in label and "$" in label]

    assert len(shown) >= 2
    assert all(plain(name) in label for label in shown)


def test_two_dampers_get_names_and_a_tolerance():
    at = page("pair")
    at.text_input(key="w_called_0").set_value("near side").run()
    add(at, "pair", 0, SAMPLES / "pair_rear_left.csv")
    add(at, "pair", 1, SAMPLES / "pair_rear_right.csv.gz")
    assert "Not alike" in words(at)
    assert "near side" in words(at)

    at.number_input(key="w_tolerance").set_value(40).run()
    assert "alike within 40 %" in words(sound(at))


def test_the_first_screen_gives_the_affected_side_first_and_what_it_needs():
    shown = verdict(page("change", example="drained"))[0].replace("\u00a0", " ")
    order = [
        "did not clearly change",
        "Rebound <span>",
        "-36 %",
        "Compression <span>",
        "Rebound needs 10",
        "What now",
    ]
    places = [shown.index(each) for each in order]

    assert places == sorted(places)


def test_yes_no_and_open_answers_differ_in_shape():
    shown = {
        name: verdict(page(EXAMPLES[name].question, example=name))[0]
        for name in ("drained", "thinner", "jumps")
    }
    found = {name: re.search(r'class="reply (\w+)"', text) for name, text in shown.items()}

    assert {name: each and each[1] for name, each in found.items()} == {
        "drained": "no",
        "thinner": "yes",
        "jumps": "clear",
    }
    assert shown["drained"].count('class="mark"') == shown["thinner"].count('class="mark"') == 1


def test_the_sign_of_a_drive_says_its_direction():
    """The sample rides higher after the change: its travel is less, its arrow points up."""
    shown = verdict(page("change", example="drives"))[0]
    card = next(
        each for each in shown.split("<article")[1:] if "It rides higher" in each or "it rides higher" in each
    )
    drawn = base64.b64decode(re.findall(r"base64,([^\"]+)", card)[0]).decode()

    assert SIGNS["up"] in drawn


def test_every_verdict_has_a_sign_of_its_own():
    alike = {"uncertain": "cannot tell", "unknown": "measured"}
    own = [drawing for name, drawing in SIGNS.items() if name not in alike]

    assert len(set(own)) == len(own)
    assert SIGNS["changed inside"] != SIGNS["no clear change"]
    assert SIGNS["up"] != SIGNS["down"]


def test_every_question_keeps_its_own_files():
    at = page("one")
    add(at, "one", 0, SAMPLES / "front_left_thick_oil.csv")
    at.switch_page("views/change.py").run()
    assert "The verdict" not in words(sound(at))

    at.switch_page("views/one.py").run()
    assert "The verdict" in words(sound(at))


def test_two_visitors_see_only_their_own():
    one, other = page("one"), page("one")
    add(one, "one", 0, SAMPLES / "front_left_thick_oil.csv")
    other.run()
    unfold_why(one, "one")

    assert "front_left_thick_oil.csv" in words(one)
    assert "front_left_thick_oil.csv" not in words(sound(other))


def test_the_address_restores_files_machine_and_corner():
    first = page("machine")
    first.button(key="w_sample_machine").click().run()
    first.switch_page("views/one.py").run()
    add(first, "one", 0, SAMPLES / "front_left_thick_oil.csv")
    unfold(first, "one").selectbox(key="w_corner").select("front right").run()
    address: Any = {name: first.query_params[name] for name in ("session", "corner")}

    again = page("one", **address)
    assert "front_left_thick_oil.csv" in words(unfold_why(again, "one"))
    assert unfold(again, "one").selectbox(key="w_corner").value == "front right"


@pytest.mark.parametrize(
    "address", [{"session": "0" * 32}, {"example": "no such"}, {"units": "furlongs"}, {"page": "x"}]
)
def test_an_address_that_means_nothing_is_left_aside(address):
    at = page("change", **address)

    assert "Test before the change" in words(at)


@pytest.mark.parametrize("kind", ["bounce", "weights", "travel", "flight", "cycle", "sweep"])
def test_every_test_is_told_step_by_step(kind):
    at = page("how", kind=kind)

    assert '<ol class="steps">' in words(at)
    assert 'class="drawing"' in words(at)


def test_a_stretch_that_is_marked_is_drawn_closer():
    at = unfold_why(page("one", example="cycles"), "one")
    before = len(at.get("plotly_chart"))
    at.session_state["w_window_rear_left_before_run1.csv"] = (90.0, 92.0)
    at.run()

    assert len(sound(at).get("plotly_chart")) == before + 1
