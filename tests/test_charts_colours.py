"""The colours of the pictures: exchanged between light and dark, readable, apart in every colour sight."""

from __future__ import annotations

import json

import numpy as np
import plotly.io
import pytest

from tests import builders
from tuner.charts import (
    DARK,
    LIGHT,
    change_figure,
    colour_swaps,
    force_speed_figure,
    loop_figure,
    ratio_band_figure,
)
from tuner.records import SIDES


def every_figure(look):
    comparison = builders.comparison()
    runs = builders.runs_of(comparison)
    judged = (("before", comparison.before), ("after", comparison.after))
    changes = {side: comparison.side(side).change for side in SIDES}
    return {
        "force over speed": force_speed_figure(runs, look=look),
        "ratio": ratio_band_figure(judged, look=look),
        "change": change_figure(changes, look=look),
        "loop": loop_figure(runs, 0.26, look=look),
    }


def test_exchanging_the_colours_turns_light_into_dark():
    """The report relies on it: the texts of the light colours replaced give the dark picture exactly."""
    dark_figures = every_figure(DARK)
    for name, figure in every_figure(LIGHT).items():
        text = plotly.io.to_json(figure, engine="json")
        for light, dark in colour_swaps():
            text = text.replace(light, dark)

        assert json.loads(text) == json.loads(plotly.io.to_json(dark_figures[name], engine="json"))


def test_colours_can_be_exchanged_one_by_one():
    light, dark = zip(*colour_swaps(), strict=True)

    assert len(set(light)) == len(light)
    assert not set(light) & set(dark)


def _linear(colour: str) -> np.ndarray:
    c = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255.0
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


@pytest.mark.parametrize("look", [LIGHT, DARK], ids=["light", "dark"])
def test_text_and_lines_stand_out_from_the_paper(look):
    """Contrast of WCAG 2.2: (L1 + 0.05) / (L2 + 0.05), at least 4.5 for text and 3 for lines and marks."""

    def contrast(a: str, b: str) -> float:
        one, other = sorted(float(_linear(c) @ [0.2126, 0.7152, 0.0722]) for c in (a, b))
        return (other + 0.05) / (one + 0.05)

    assert min(contrast(c, look.paper) for c in (look.ink, look.soft, look.target_edge)) >= 4.5
    assert min(contrast(c, look.paper) for c in (*look.runs, look.axis)) >= 3.0
    assert min(contrast(c, look.target_fill) for c in look.runs[:2]) >= 3.0


@pytest.mark.parametrize("look", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize(
    "sight",
    [
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
    ],
    ids=["deuteranopia", "protanopia", "tritanopia"],
)
def test_first_and_second_run_differ_in_every_colour_sight(look, sight):
    """Distance in CIELAB above 30 as seen with full colour blindness.

    Matrices: Machado, Oliveira and Fernandes 2009, severity 1 (written from memory).
    """

    def lab(colour: str) -> np.ndarray:
        seen = np.clip(np.array(sight) @ _linear(colour), 0.0, 1.0)
        to_xyz = [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
        t = np.array(to_xyz) @ seen / [0.9505, 1.0, 1.089]
        f = np.where(t > 0.008856, np.cbrt(t), 7.787 * t + 16.0 / 116.0)
        return np.array([116.0 * f[1] - 16.0, 500.0 * (f[0] - f[1]), 200.0 * (f[1] - f[2])])

    assert np.linalg.norm(lab(look.runs[0]) - lab(look.runs[1])) > 30.0
