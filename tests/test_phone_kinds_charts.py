"""Pictures of bounces, drives and jumps, read as figures: what is drawn is what was measured."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests import moving_results as results
from tuner.charts import DARK, LIGHT, Run, figure_groups, picture_words
from tuner.charts.bounces import MOST_STRIPS, bounce_figure
from tuner.charts.drive import drive_figure
from tuner.charts.jumps import jump_figure
from tuner.charts.outcomes import drawn_measures, outcome_figure
from tuner.charts.same_ground import same_ground_figure
from tuner.charts.speed_share import speed_share_figure
from tuner.records import SIDES

G = 9.80665


def named(figure, name: str):
    return [trace for trace in figure.data if trace.name == name]


# --- bounces -------------------------------------------------------------------------------------------------------


def bounce(system="metric", look=LIGHT):
    return bounce_figure("before", results.bounce_fit().traces, system, look)


def strips(figure, name, column="y"):
    """The values of every strip: one trace holds them all, with a gap after each."""
    (trace,) = named(figure, name)
    found = [[]]
    for value in trace[column]:
        if value is None:
            found.append([])
        else:
            found[-1].append(value)
    return found[:-1]


def test_every_bounce_has_a_strip_with_measured_and_fitted():
    figure = bounce()

    assert len(strips(figure, "measured")) == len(strips(figure, "fitted")) == 6
    assert [text.split()[-2] for text in figure.layout.yaxis.ticktext] == [
        "3.0",
        "7.0",
        "11.0",
        "15.0",
        "19.0",
        "23.0",
    ]


def test_hovering_gives_the_value_and_not_its_place_on_the_paper():
    trace = results.bounce_fit().traces[0]
    said, drawn = (strips(bounce(), "fitted", column)[3] for column in ("customdata", "y"))

    assert max(said) == pytest.approx(float(trace.fitted.max()), rel=0.01)
    assert max(drawn) < 0


def test_what_is_left_over_is_there_on_demand():
    figure = bounce()

    assert [trace.visible for trace in named(figure, "left over")] == ["legendonly"]
    assert all(float(np.ptp(left)) < 1.0 for left in strips(figure, "left over"))


def test_strips_stay_inside_the_picture():
    figure = bounce()
    low, high = figure.layout.yaxis.range

    assert all(low <= y <= high for trace in figure.data for y in trace.y if y is not None)


def test_more_bounces_than_fit_are_cut():
    traces = results.bounce_fit().traces * 4

    assert len(strips(bounce_figure("x", traces), "fitted")) == MOST_STRIPS


def test_a_bounce_of_a_travel_sensor_is_drawn_in_millimetres_or_inches():
    traces = tuple(
        replace(t, quantity="travel", measured=t.measured / 100, fitted=t.fitted / 100)
        for t in results.bounce_fit().traces
    )
    metric, us = (bounce_figure("x", traces, system) for system in ("metric", "us"))

    assert "mm" in named(metric, "fitted")[0].hovertemplate
    assert max(strips(metric, "fitted", "customdata")[0]) == pytest.approx(60.0, rel=0.01)
    assert max(strips(us, "fitted", "customdata")[0]) == pytest.approx(60.0 / 25.4, rel=0.01)


# --- share of time -------------------------------------------------------------------------------------------------


def test_strips_are_as_long_as_the_share_of_time():
    figure = speed_share_figure([Run("before", results.drive_fit())])
    marks = [t for t in figure.data if t.mode == "markers"]

    assert len(marks) == len(SIDES)
    assert list(marks[0].x) == pytest.approx([22.0, 15.0, 7.0, 4.0, 2.0])
    assert list(marks[0].error_x.array) == pytest.approx([4.4, 3.0, 1.4, 0.8, 0.4])


def test_speeds_that_no_run_reached_have_no_row():
    figure = speed_share_figure([Run("before", results.drive_fit())])

    assert list(figure.layout.yaxis.ticktext) == [
        "0 to 0.05",
        "0.05 to 0.13",
        "0.13 to 0.26",
        "0.26 to 0.52",
        "0.52 to 1.04",
    ]


def test_rows_say_the_unit_of_their_speeds():
    for system, unit in (("metric", "m/s"), ("us", "in/s")):
        figure = speed_share_figure([Run("before", results.drive_fit())], system)
        assert any(f"speed of the shaft in {unit}" in a.text for a in figure.layout.annotations)


def test_two_runs_stand_under_each_other():
    runs = [Run("before", results.drive_fit()), Run("after", results.drive_fit())]
    marks = [t for t in speed_share_figure(runs).data if t.mode == "markers"]

    assert len(marks) == 2 * len(SIDES)
    assert max(marks[0].y) < max(marks[1].y)


# --- the drive -----------------------------------------------------------------------------------------------------


def test_a_drive_is_cut_into_lines_and_its_stops_stand_where_they_were():
    """100 s on lines of 40 s, the recording begins at 3 s: 20 s is 17 s along the first, 61 s 18 s along the second."""
    figure = drive_figure("before", results.drive_trace(), full=0.21, static=0.09)
    (hits,) = named(figure, "all the way in")

    assert len(named(figure, "motion")) == 3
    assert list(hits.x) == pytest.approx([17.0, 18.0])
    assert list(hits.customdata) == [20.0, 61.0]
    assert named(figure, "all the way out") == []


def test_the_envelope_keeps_the_highest_and_the_lowest():
    figure = drive_figure("before", results.drive_trace(), full=0.21)

    assert max(named(figure, "motion")[0].y) == pytest.approx(0.12, abs=1e-4)
    assert min(named(figure, "motion")[0].y) == pytest.approx(0.06, abs=1e-4)


def test_long_drives_take_longer_lines():
    figure = drive_figure("x", results.drive_trace(3600.0))

    assert len(named(figure, "motion")) <= 6


def test_ground_that_another_drive_passed_is_underlined():
    figure = drive_figure("x", results.drive_trace(), full=0.21, shared=((30.0, 50.0),))
    (line,) = named(figure, "same ground as the other drive")

    lengths = [b - a for a, b in zip(line.x[::3], line.x[1::3], strict=True)]
    assert sum(lengths) == pytest.approx(20.0)
    assert len(lengths) == 2


def test_us_drives_are_in_inches():
    figure = drive_figure("x", results.drive_trace(), "us", full=0.2032)

    assert "(in)" in figure.layout.yaxis.title.text
    assert "8" in figure.layout.yaxis.ticktext


def test_the_same_ground_is_laid_over():
    traces = (results.drive_trace(),)
    figure = same_ground_figure(traces, traces, results.GROUND)

    assert len(named(figure, "before")) == len(named(figure, "after")) == 3
    for one, other in zip(named(figure, "before"), named(figure, "after"), strict=True):
        assert max(one.x) == pytest.approx(8.0)
        assert max(other.x) == pytest.approx(8.0)


# --- jumps ---------------------------------------------------------------------------------------------------------


def test_jumps_are_laid_over_each_other_from_take_off_on():
    figure = jump_figure([Run("before", results.jump_fit()), Run("after", results.jump_fit(-0.9))])
    forces = [t for t in figure.data if t.mode == "lines" and t.yaxis in (None, "y")]
    turning = [t for t in figure.data if t.yaxis == "y2"]

    assert len(forces) == len(turning) == 6
    assert max(forces[0].y) == pytest.approx(49.8 / G, rel=0.02)
    assert list(turning[0].y) == pytest.approx([-74.5] * len(turning[0].y), abs=0.1)
    assert [t.showlegend for t in forces] == [True, False, False, True, False, False]


def test_jumps_without_a_direction_have_no_lower_panel():
    figure = jump_figure([Run("before", results.jump_fit(1.3, known=False))])

    assert not [t for t in figure.data if t.yaxis == "y2"]


# --- before and after ----------------------------------------------------------------------------------------------


def test_every_known_measure_has_a_row_with_both_sides():
    figure = outcome_figure(results.jump_change().measures)

    assert [c.name for c in drawn_measures(results.jump_change().measures)] == [
        "pitch_rate",
        "airtime",
        "landing_peak",
    ]
    assert len(figure.data) == 6
    assert list(figure.data[0].x) == pytest.approx([-74.5], abs=0.1)


def test_a_clear_change_is_heavy_and_said():
    texts = [a.text for a in outcome_figure(results.jump_change().measures).layout.annotations]

    assert texts[0] == "<b>pitch rate, + nose up (°/s)</b>: changed"
    assert texts[1] == "time in the air (s): no clear change"


def test_every_row_has_room_for_its_intervals():
    figure = outcome_figure(results.drive_change().measures)

    for trace in figure.data:
        axis = figure.layout[trace.xaxis.replace("x", "xaxis")]
        assert axis.range[0] <= trace.x[0] - trace.error_x.arrayminus[0]
        assert trace.x[0] + trace.error_x.array[0] <= axis.range[1]


# --- all of them ---------------------------------------------------------------------------------------------------

CHANGES = {"bounce": results.bounce_change, "travel": results.drive_change, "flight": results.jump_change}
GROUPS = {
    "bounce": ["ratio-band", "change", "bounces-0", "bounces-1"],
    "travel": ["outcomes", "same-ground", "speed-share", "drive-0-1", "drive-1-1"],
    "flight": ["outcomes", "jumps"],
}


def groups_of(kind: str, system="metric", look=LIGHT):
    comparison = CHANGES[kind]()
    judged = (("before", comparison.before), ("after", comparison.after))
    changes = {side: comparison.side(side).change for side in SIDES}
    return figure_groups(judged, changes, system, None, look, comparison)


@pytest.mark.parametrize("kind", sorted(CHANGES))
def test_each_kind_has_its_pictures_with_titles_and_captions(kind):
    groups = groups_of(kind)

    assert [figure.name for group in groups for figure in group.figures] == GROUPS[kind]
    assert all(group.title and group.caption for group in groups)


@pytest.mark.parametrize("kind", sorted(CHANGES))
@pytest.mark.parametrize("system", ["metric", "us"])
def test_pictures_describe_themselves_in_words(kind, system):
    for group in groups_of(kind, system):
        for each in group.figures:
            assert picture_words(each.figure).endswith(".")


@pytest.mark.parametrize("kind", sorted(CHANGES))
def test_light_and_dark_differ_only_in_colours(kind):
    from tuner.charts import colour_swaps

    for light, dark in zip(groups_of(kind), groups_of(kind, look=DARK), strict=True):
        for one, other in zip(light.figures, dark.figures, strict=True):
            text = one.figure.to_json()
            for swap in colour_swaps():
                text = text.replace(*swap)
            assert text == other.figure.to_json()


@pytest.mark.parametrize("kind", ["bounce", "travel", "flight"])
def test_one_test_alone_is_drawn_too(kind):
    fit = {"bounce": results.bounce_fit, "travel": results.drive_fit, "flight": results.jump_fit}[kind]()

    assert figure_groups((("now", results.judged(fit)),), None)
