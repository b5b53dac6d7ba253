"""What to do after an answer, and what the interval of an answer is made of."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest

from tests.builders import after_fit, bench_fit, bounce_fit, machine
from tests.test_wording import compared, comparison, ratio
from tuner.comparing import compare
from tuner.comparing.confounders import confounders
from tuner.comparing.parts import interval_parts
from tuner.estimates import Estimate
from tuner.fitting import fit
from tuner.judging import judge
from tuner.reading import read_file
from tuner.records import SIDES
from tuner.wording import change_headline, changes, figures
from tuner.wording.layout import page
from tuner.wording.onward import onward_change, onward_fit


def placed(side, verdict, place, *, changed=True):
    """One side with that verdict, standing there afterwards."""
    said = compared(side, ratio(0.9, 0.85, 0.95), verdict, changed=changed)
    return replace(said, after=replace(said.after, place=place))


def onward(compression, rebound):
    return " ".join(onward_change(comparison(compression, rebound)))


@pytest.mark.parametrize(
    ("compression", "rebound", "said", "unsaid"),
    [
        (("toward", "inside"), ("no clear change", "inside"), "Keep this change.", "Take this change back"),
        (("away", "below"), ("no clear change", "inside"), "Take this change back", "Keep"),
        (
            ("toward", "inside"),
            ("away", "below"),
            "only if what compression gained is worth more",
            "Keep this change.",
        ),
        (
            ("toward", "below"),
            ("no clear change", "inside"),
            "still below its target: go on the same way",
            "nothing more",
        ),
        (("no clear change", "above"), ("no clear change", "inside"), "did not move it", "Take"),
        (("cannot tell", "uncertain"), ("cannot tell", "uncertain"), "Do not decide on these tests", "Keep"),
    ],
)
def test_every_verdict_says_what_to_do(compression, rebound, said, unsaid):
    text = onward(placed("compression", *compression), placed("rebound", *rebound))

    assert said in text
    assert unsaid not in text


def test_one_test_is_the_before_of_the_next():
    corner, target = machine().corner("rear"), machine().target

    assert (
        "Change one thing that works on compression and rebound"
        in onward_fit(judge(after_fit(), corner, target))[0]
    )
    assert "'before'" in onward_fit(judge(bench_fit()))[0]


def test_a_clear_change_of_unsure_place_is_not_called_unseen():
    headline = change_headline(
        comparison(
            compared("compression", ratio(1.0, 0.97, 1.03), "no clear change", changed=False),
            compared("rebound", ratio(0.66, 0.61, 0.72), "cannot tell"),
        )
    )

    assert headline.answer == "A clear change; whether it helps is not sure"
    assert headline.sentence.startswith("Rebound (on the way out) clearly changed")


def test_the_parts_of_an_interval_make_the_whole():
    """Single cycles share nothing but the corner: the squares of the parts are the square of the change."""
    corner, target = machine().corner("rear"), machine().target
    result = compare([bench_fit()], [after_fit()], corner, target)
    for side in SIDES:
        parts = interval_parts(result, side)

        assert parts.mounting == pytest.approx(0.05)
        assert math.hypot(parts.before, parts.after, parts.mounting) == pytest.approx(parts.change, rel=1e-9)
        # mass +-2 % under a root is the only doubt that this corner gives
        assert parts.corner == pytest.approx(0.01, rel=0.01)


def test_what_both_tests_share_is_less_than_its_parts():
    """Peak forces hold a friction that nobody knows, the same one in both."""
    samples = Path(__file__).parents[1] / "sample_data"
    before, after = (
        fit(read_file(samples / f"front_left_{oil}_oil.csv").record) for oil in ("thick", "thin")
    )
    parts = interval_parts(compare([before], [after]), "compression")

    assert parts.change < 0.9 * math.hypot(parts.before, parts.after, parts.mounting)
    assert parts.corner == 0.0


def test_repeats_leave_nothing_to_allow_for():
    result = compare([bench_fit(seed=1), bench_fit(seed=2)], [after_fit(seed=3), after_fit(seed=4)])

    assert interval_parts(result, "rebound").mounting == 0.0
    names = [row[0] for row in changes.parts_table(result).rows]
    assert "mounting again, allowed for single tests" not in names
    assert "the change, all together" in names


@pytest.mark.parametrize(
    ("high", "kind", "text"),
    [
        (0.00012, "length", "0.2 mm"),
        (0.0001, "length", "0.1 mm"),
        (13.2, "force", "14 N"),
        (13.0, "force", "13 N"),
    ],
)
def test_an_upper_bound_is_rounded_up(high, kind, text):
    unit = {"length": "m", "force": "N"}[kind]

    assert figures.upper_bound(Estimate(0.0, 0.0, high, unit), kind, "metric") == text


def test_a_bench_test_against_a_bounce_says_first_that_both_must_be_made_alike():
    mixed = compare([bench_fit()], [bounce_fit()], machine().corner("rear"), machine().target)

    points = onward_change(mixed)

    assert change_headline(mixed).sentence.startswith("One test is of the whole corner")
    assert "bounce" in changes.verdict_clause(mixed.compression)
    assert "Test both the same way" in " ".join(points)
    assert not any("a second time" in point for point in points)
    assert not {"speed-range", "no-overlap"} & {note.code for note in mixed.confounders}


def test_a_bounce_without_a_machine_asks_for_it():
    alone = compare([bounce_fit()], [bounce_fit()])

    assert any(point.startswith("Describe the machine") for point in onward_change(alone))


def words_of(result):
    """The whole page of a change as one text, without line breaks."""
    return " ".join(page(changes.change_sections(result, "metric", notes=result.notes)).split())


@pytest.fixture(scope="module")
def oil_put_back():
    """The sample's change the other way round: the drained damper before, the full one after."""
    samples = Path(__file__).parents[1] / "sample_data"
    drained, full = (
        fit(read_file(samples / f"rear_left_{name}_run1.csv").record) for name in ("after_draining", "before")
    )
    corner, target = machine().corner("rear"), machine().target
    return compare([drained], [full], corner, target), compare([full], [drained], corner, target)


def test_a_cured_dead_stroke_is_said_cured_and_nothing_is_left_to_do_about_it(oil_put_back):
    cure, loss = oil_put_back
    said = changes.dead_stroke_points(cure, "metric")

    assert len(said) == 1
    assert said[0].startswith("Dead stroke on the way out: cured. It was 6.3")
    assert "at most 0.2 mm now" in said[0]
    assert "filled and bled" not in words_of(cure)
    assert "points to air" not in words_of(cure)
    assert "filled and bled" in words_of(loss)
    assert "points to air" in changes.dead_stroke_points(loss, "metric")[0]


def test_no_line_says_that_nothing_is_needed_beside_one_that_asks_for_oil(oil_put_back):
    """A side inside its target that still has a dead stroke is not done; one without is."""
    cure, _ = oil_put_back
    air = replace(cure.after.fit.rebound, dead_stroke=Estimate(0.004, 0.0035, 0.0045, "m"))
    still = replace(cure, after=replace(cure.after, fit=replace(cure.after.fit, rebound=air)))
    within = placed("rebound", "toward", "inside")

    assert "Rebound is now inside its target and needs nothing more." in onward_change(
        replace(cure, rebound=within)
    )
    points = onward_change(
        replace(still, rebound=within, confounders=confounders(cure.before.fit, still.after.fit))
    )
    assert "Rebound is now inside its target and only its dead stroke is left to cure." in points
    assert any("filled and bled" in point for point in points)
    assert not any("needs nothing more" in point and "Rebound" in point for point in points)
