"""The pictures say what the results say: signs, units, intervals, bands; runs told apart without colour."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad

from tests import builders
from tuner.charts import (
    LIGHT,
    Run,
    change_figure,
    force_speed_figure,
    loop_figure,
    loop_speeds,
    picture_words,
    ratio_band_figure,
)
from tuner.charts.change import percent, ticks_between
from tuner.charts.force_speed import thinned
from tuner.comparing import ChangeAt
from tuner.estimates import Estimate
from tuner.fitting.results import SideFit
from tuner.records import SIDES

POUND_FORCE = 4.4482216152605  # N, exact by definition (0.45359237 kg times 9.80665 m/s^2)
INCH = 0.0254  # m, exact by definition


@pytest.fixture(scope="module")
def comparison():
    return builders.comparison()


@pytest.fixture(scope="module")
def runs(comparison):
    return builders.runs_of(comparison)


def judged(comparison):
    return (("before", comparison.before), ("after", comparison.after))


def changes(comparison):
    return {side: comparison.side(side).change for side in SIDES}


def every_figure(comparison, system="metric", look=LIGHT):
    runs = builders.runs_of(comparison)
    return {
        "force over speed": force_speed_figure(runs, system, look),
        "ratio": ratio_band_figure(judged(comparison), system, look),
        "change": change_figure(changes(comparison), system, look, target_speed=0.26),
        "loop": loop_figure(runs, 0.26, system, look),
    }


def named(figure, start):
    return [trace for trace in figure.data if trace.name and trace.name.startswith(start)]


def test_force_stands_over_speed_in_house_signs(runs):
    """Compression to the upper right, rebound to the lower left, for every measured point and curve."""
    figure = force_speed_figure(runs)

    for trace in figure.data:
        x, y = np.array(trace.x), np.array(trace.y)
        assert (x >= 0).all() or (x <= 0).all()
        assert (np.sign(x) * y >= 0).all()
    assert {np.sign(np.sum(t.x)) for t in named(figure, "before: measured")} == {-1.0, 1.0}


@pytest.mark.parametrize(("system", "force", "speed"), [("metric", 1.0, 1.0), ("us", POUND_FORCE, INCH)])
def test_curve_is_the_law_in_the_units_of_the_axes(runs, system, force, speed):
    """The drawn end of the rebound curve is the law the result was built from, converted by definition."""
    figure = force_speed_figure(runs, system)
    curve = next(t for t in named(figure, "after: fitted") if min(t.x) < 0)

    assert min(curve.x) == pytest.approx(-0.52 / speed, rel=1e-4)
    assert min(curve.y) == pytest.approx(-float(builders.REBOUND_AFTER.force(0.52)) / force, rel=1e-4)


@pytest.mark.parametrize(
    ("system", "labels"), [("metric", ("m/s", "(N)", "mm")), ("us", ("in/s", "(lbf)", "(in)"))]
)
def test_every_axis_has_its_unit(comparison, system, labels):
    figures = every_figure(comparison, system)
    speed, force, length = labels

    assert speed in figures["force over speed"].layout.xaxis.title.text
    assert force in figures["force over speed"].layout.yaxis.title.text
    assert length in figures["loop"].layout.xaxis.title.text
    assert force in figures["loop"].layout.yaxis.title.text
    assert all(speed in label for label in figures["ratio"].layout.yaxis.ticktext)
    assert "damping ratio" in figures["ratio"].layout.xaxis2.title.text
    assert all("%" in t or t == "no change" for t in figures["change"].layout.xaxis2.ticktext)


def test_runs_differ_in_dash_symbol_and_words(runs):
    """Nobody has to see the colour to tell before from after."""
    figure = force_speed_figure(runs)
    before, after = named(figure, "before: fitted")[0], named(figure, "after: fitted")[0]
    marks = {named(figure, f"{label}: measured")[0].marker.symbol for label in ("before", "after")}

    assert before.line.dash != after.line.dash
    assert before.line.color != after.line.color
    assert len(marks) == 2
    assert {t.legendgroup for t in figure.data} == {"before", "after"}


def test_both_sides_are_named_by_what_the_shaft_does(comparison):
    for name in ("force over speed", "ratio", "change"):
        texts = " ".join(a.text for a in every_figure(comparison)[name].layout.annotations)
        assert "shaft going in" in texts
        assert "shaft coming out" in texts


def test_a_side_that_was_not_seen_is_left_out():
    fit = replace(builders.bench_fit(), rebound=SideFit("rebound", False))
    figure = force_speed_figure([Run("now", fit)])

    assert all(min(trace.x) >= 0 for trace in figure.data)


def test_thinning_keeps_the_extremes_and_the_limit():
    """One point far off among ten thousand stays in the picture."""
    speed = np.linspace(0.0, 1.0, 10_000)
    force = 100.0 * speed
    force[4321] = 9_000.0
    kept = thinned(speed, force, 240)

    assert len(kept) <= 240
    assert 4321 in kept
    assert (np.diff(speed[kept]) > 0).all()


def test_band_and_intervals_stand_where_the_judgement_has_them(comparison):
    figure = ratio_band_figure(judged(comparison))
    target = comparison.before.target
    fields = [s for s in figure.layout.shapes if s.type == "rect"]
    mark = next(t for t in figure.data if t.name == "after" and t.yaxis == "y2")
    expected = comparison.after.rebound.zeta

    assert [(s.x0, s.x1) for s in fields] == [target.compression, target.rebound]
    assert list(mark.x) == pytest.approx([z.zeta.value for z in expected], abs=1e-4)
    assert list(mark.error_x.array) == pytest.approx([z.zeta.high - z.zeta.value for z in expected])
    assert list(mark.error_x.arrayminus) == pytest.approx([z.zeta.value - z.zeta.low for z in expected])
    assert [t for t in figure.layout.yaxis.ticktext if "target" in t] == ["<b>0.26 m/s</b><br>target"]


def test_a_bounce_has_one_row_without_a_speed():
    result = builders.comparison([builders.bounce_fit()], [builders.bounce_fit((0.24, 0.52))])
    figure = ratio_band_figure(judged(result))

    assert len(figure.layout.yaxis.ticktext) == 1
    assert "bounce" in figure.layout.yaxis.ticktext[0]


def test_without_any_ratio_the_panels_say_so():
    result = builders.comparison(corner=False)
    texts = [a.text for a in ratio_band_figure(judged(result)).layout.annotations]

    assert sum("no damping ratio" in text for text in texts) == 2


def test_clear_changes_are_filled_and_unclear_ones_open():
    rows = (
        ChangeAt(0.13, Estimate(0.66, 0.60, 0.73, "1")),
        ChangeAt(0.26, Estimate(0.95, 0.88, 1.03, "1")),
        ChangeAt(0.52, Estimate(1.20, 0.40, math.inf, "1")),
    )
    figure = change_figure({"compression": rows, "rebound": ()})
    marks = next(trace for trace in figure.data if trace.yaxis == "y" and trace.mode == "markers")

    assert list(marks.x) == [0.66, 0.95, 1.2]
    assert list(marks.marker.symbol) == ["diamond", "diamond-open", "diamond-open"]
    assert np.isfinite(marks.error_x.array).all()
    assert figure.layout.xaxis.type == "log"
    assert [a.text for a in figure.layout.annotations if "%" in a.text] == ["<b>−34 %</b>", "−5 %", "+20 %"]
    assert any("no speed at which" in a.text for a in figure.layout.annotations)


def test_per_cent_words():
    assert [percent(r) for r in (0.66, 1.25, 1.0, 1.001)] == ["−34 %", "+25 %", "no change", "±0 %"]


@pytest.mark.parametrize("ends", [(0.82, 1.22), (0.3, 1.2), (0.05, 20.0), (0.9, 6.0)])
def test_ticks_of_change_keep_clear_of_each_other(ends):
    ticks = ticks_between(*ends)

    assert 1.0 in ticks
    assert 2 <= len(ticks) <= 8
    assert min(np.diff(np.log(ticks))) >= math.log(ends[1] / ends[0]) / 5.5 - 1e-12


def test_area_of_the_drawn_loop_is_the_energy_of_the_laws(runs):
    """The closed line encloses what both laws and dry friction take out of one cycle; the gas gives all back.

    Energy of a law over half a sine by adaptive quadrature; of friction 4 F X for a full cycle (S. S. Rao,
    Mechanical Vibrations, Coulomb damping).
    """
    trace = named(loop_figure(runs, 0.26), "before")[0]
    x, y = np.array(trace.x) / 1000.0, np.array(trace.y)
    area = abs(np.sum(0.5 * (y[1:] + y[:-1]) * np.diff(x)))
    amplitude = builders.STROKE / 2.0
    laws = (builders.COMPRESSION, builders.REBOUND)
    expected = sum(
        2.0
        * quad(
            lambda p, law=law: float(law.force(0.26 * math.cos(p))) * amplitude * math.cos(p), 0, math.pi / 2
        )[0]
        for law in laws
    )
    expected += 4.0 * builders.FRICTION * amplitude

    assert area == pytest.approx(expected, rel=0.01)  # 200 samples of a cycle


def test_loops_of_one_test_step_count_once(runs):
    before, after = runs
    shifted = replace(
        after.fit, loops=tuple(replace(x, peak_speed=1.04 * x.peak_speed) for x in after.fit.loops)
    )
    both = (before, Run("after", shifted))

    assert len(loop_speeds(both)) == len(builders.TEST_SPEEDS)
    assert {t.name for t in loop_figure(both, 0.13).data} == {"before", "after"}


def test_labels_from_outside_stay_text(runs):
    """A run called like a tag is shown as it is written."""
    strange = [Run("<b onclick=x>", runs[0].fit)]

    assert force_speed_figure(strange).data[0].name.startswith("&lt;b onclick=x&gt;")
    assert loop_figure(strange, 0.26).data[0].name == "&lt;b onclick=x&gt;"


def test_every_picture_is_described_in_words(comparison):
    assert all(len(picture_words(figure)) > 40 for figure in every_figure(comparison).values())
