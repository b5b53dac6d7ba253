"""A drawing gathers what plotly's own figure would hold, and is checked when it is finished."""

from __future__ import annotations

import json

import plotly.graph_objects as go
import plotly.io as pio
import pytest

from tuner.charts.drawing import Drawing


def test_a_finished_drawing_is_the_figure_that_plotly_builds_step_by_step() -> None:
    """Plotly's own step-by-step figure is the reference."""
    drawing, figure = Drawing(margin={"l": 8, "r": 12}), go.Figure()
    figure.update_layout(template="none", margin={"l": 8, "r": 12})
    for step in (drawing, figure):
        step.add_scatter(
            x=[0.0, 1.0], y=[2.0, 3.0], mode="lines", line={"color": "#3a5f86", "dash": "6px,4px"}
        )
        step.add_shape(type="line", x0=0, x1=1, y0=0, y1=0, layer="below")
        step.add_annotation({"text": "target", "showarrow": False, "x": 0.5, "y": 0.5})
        step.update_layout(margin={"t": 34}, xaxis={"title": {"text": "time (s)"}, "nticks": 6})
        step.update_layout(
            {"xaxis": {"title": {"standoff": 8}}, "yaxis": {"ticks": ""}, "yaxis2": {"anchor": "x"}}
        )
    figure.layout.template = None
    figure.update_layout(datarevision=drawing.finished().layout.datarevision)
    assert json.loads(pio.to_json(drawing.finished())) == json.loads(pio.to_json(figure))


def test_what_plotly_does_not_know_is_refused_when_it_is_finished() -> None:
    drawing = Drawing()
    drawing.add_scatter(x=[0.0], y=[1.0], colour="red")
    with pytest.raises(ValueError, match="colour"):
        drawing.finished()


def test_settings_laid_over_leave_what_was_given_untouched() -> None:
    margin = {"l": 8}
    drawing = Drawing(margin=margin)
    drawing.update_layout(margin={"l": 60, "b": 4})
    assert margin == {"l": 8}
    assert drawing.finished().layout.margin.to_plotly_json() == {"l": 60, "b": 4}
