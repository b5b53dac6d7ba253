"""The JSON of the outer face has every key that it promises, and is strict JSON; tables become CSV."""

from __future__ import annotations

import csv
import io
import json
import math
from dataclasses import replace

import numpy as np
import pytest

from tests.builders import after_fit, bench_fit, compare_job, comparison
from tuner import exchange
from tuner.comparing import match
from tuner.estimates import Estimate, Note
from tuner.exchange.measures import plain_value
from tuner.judging import judge
from tuner.wording import change_summary, pair_summary

ESTIMATE = {"value", "low", "high", "unit"}
NOTE = {"code", "text"}
INPUT = {"file", "sha256", "rows", "columns", "rate_hz", "history"}
FIT_SIDE = {"law", "parameters", "secant", "zeta", "dead_stroke", "seen"}
COMPARED_SIDE = {"change", "before", "after", "verdict", "probability", "leaning", "needed", "reasons"}


def refuse(word: str) -> None:
    raise AssertionError(f"{word} is no strict JSON")


def strict(value: dict) -> dict:
    """Write as JSON and read it back, refusing NaN and infinity."""
    return json.loads(exchange.to_json(value), parse_constant=refuse)


def is_estimate(value: object, unit: str) -> bool:
    return isinstance(value, dict) and value.keys() == ESTIMATE and value["unit"] == unit


@pytest.fixture
def compared() -> dict:
    job = compare_job()
    return strict(exchange.compare_value(job.comparison, change_summary(job.comparison), job.notes))


def test_fit_has_every_key():
    result = comparison()
    value = strict(exchange.fit_value(result.after, (Note("few-points", side="rebound", count=3, wanted=4),)))

    assert next(iter(value)) == "schema"
    assert value["schema"] == 1
    assert value.keys() == {
        *("schema", "kind", "inputs", "sides", "gas_force", "friction", "lag", "energy_per_cycle"),
        *("corner", "notes"),
    }
    assert value["kind"] == "cycle"
    assert [item.keys() for item in value["inputs"]] == [INPUT]
    assert value["inputs"][0]["columns"]["force"] == {"name": "Load", "unit": "lbf"}
    assert value["sides"].keys() == {"compression", "rebound"}
    for side in value["sides"].values():
        assert side.keys() == FIT_SIDE
        assert all(is_estimate(at["c"], "N*s/m") and at["speed"] > 0 for at in side["secant"])
        assert all(is_estimate(at["zeta"], "1") and at["speed"] > 0 for at in side["zeta"])
        assert is_estimate(side["dead_stroke"], "m")
        assert side["seen"] is True
    assert value["sides"]["rebound"]["law"] == "knee"
    assert value["sides"]["rebound"]["parameters"].keys() == {"c_low", "c_high", "v_knee"}
    assert is_estimate(value["gas_force"], "N")
    assert is_estimate(value["lag"], "s")
    assert is_estimate(value["energy_per_cycle"], "J")
    assert value["corner"].keys() == {
        *("wheel_rate", "frequency", "critical_damping", "body_mode_zeta", "wheel_hop_zeta")
    }
    assert is_estimate(value["corner"]["wheel_rate"], "N/m")
    assert value["notes"] == [
        {
            "code": "few-points",
            "text": "only 3 different rebound speeds, 4 or more wanted: the interval is wide",
        }
    ]


def test_values_are_those_of_the_fit():
    """A secant in JSON is that of the builder's leak, 700, and orifice, 620."""
    value = exchange.fit_value(judge(bench_fit()), ())
    at = next(at for at in value["sides"]["compression"]["secant"] if at["speed"] == 0.26)

    assert math.isclose(at["c"]["value"], 700 + 620 * 0.26)
    assert value["corner"] is None
    assert value["sides"]["compression"]["zeta"] == []


def test_a_side_that_was_not_seen_is_null_throughout():
    fit = bench_fit()
    blind = replace(fit.rebound, seen=False, law=None, parameters={}, secant=(), dead_stroke=None)
    value = strict(exchange.fit_value(judge(replace(fit, rebound=blind, lag=None)), ()))

    assert value["sides"]["rebound"] == {
        **{"law": None, "parameters": {}, "secant": [], "zeta": [], "dead_stroke": None, "seen": False}
    }
    assert value["lag"] is None


def test_an_open_interval_is_null_and_a_note_says_so():
    fit = replace(bench_fit(), friction=Estimate(20.0, 0.0, math.inf, "N"))
    value = strict(exchange.fit_value(judge(fit), ()))

    assert value["friction"] == {"value": 20.0, "low": 0.0, "high": None, "unit": "N"}
    assert [note["code"] for note in value["notes"]] == ["open-interval"]


def test_a_bounce_gives_its_measured_corner_and_one_ratio_without_speed():
    fit = bench_fit()
    sides = {
        name: replace(fit.side(name), secant=(), zeta=Estimate(0.3, 0.28, 0.33, "1"))
        for name in ("compression", "rebound")
    }
    measured = {"frequency": Estimate(1.9, 1.8, 2.0, "Hz"), "tyre_rate": Estimate(7e4, 6e4, 8e4, "N/m")}
    bounce = replace(fit, kind="bounce", corner_measured=measured, **sides)
    value = strict(exchange.fit_value(judge(bounce), ()))

    assert [at["speed"] for at in value["sides"]["rebound"]["zeta"]] == [None]
    assert value["corner"]["frequency"]["value"] == 1.9
    assert is_estimate(value["tyre_rate"], "N/m")


def test_measures_of_any_plain_shape_become_json():
    measures = {
        "airtime": Estimate(0.8, 0.78, 0.82, "s"),
        "bottomed": np.int64(2),
        "share": np.array([0.5, np.nan]),
    }
    value = strict(plain_value(measures))

    assert value["bottomed"] == 2
    assert value["share"] == [0.5, None]
    assert is_estimate(value["airtime"], "s")


def test_compare_has_every_key(compared):
    assert next(iter(compared)) == "schema"
    assert compared.keys() >= {"schema", "sides", "dead_stroke", "confounders", "summary", "notes"}
    for side in compared["sides"].values():
        assert side.keys() == COMPARED_SIDE
        assert all(is_estimate(at["ratio"], "1") and at["speed"] > 0 for at in side["change"])
        assert all(is_estimate(at["zeta"], "1") for at in (*side["before"], *side["after"]))
        assert side["verdict"] in {"toward", "away", "no clear change", "cannot tell"}
        assert 0 <= side["probability"] <= 1
        assert all(isinstance(reason, str) for reason in side["reasons"])
    for side in compared["dead_stroke"].values():
        assert is_estimate(side["before"], "m")
        assert is_estimate(side["after"], "m")
    assert all(note.keys() == NOTE for note in (*compared["confounders"], *compared["notes"]))
    assert "Rebound" in compared["summary"]
    assert [item.keys() for side in compared["inputs"].values() for item in side] == [INPUT, INPUT]


def test_the_ratio_is_after_over_before(compared):
    """At 0.05 m/s, below both knees: 2700 after, 4200 before; and leak + orifice 630 + 600 v after 700 + 620 v."""
    ratios = {side: value["change"][0]["ratio"]["value"] for side, value in compared["sides"].items()}

    assert math.isclose(ratios["rebound"], 2700 / 4200)
    assert math.isclose(ratios["compression"], (630 + 600 * 0.05) / (700 + 620 * 0.05))


def test_match_has_every_key():
    pair = match([bench_fit()], [after_fit()])
    value = strict(exchange.match_value(pair, pair_summary(pair, ("left", "right")), ()))

    assert next(iter(value)) == "schema"
    assert value.keys() >= {"sides", "matched", "tolerance", "summary", "notes"}
    for side in value["sides"].values():
        assert side.keys() == {"ratio", "matched", "probability", "reasons"}
        assert all(is_estimate(at["ratio"], "1") for at in side["ratio"])
    assert value["matched"] is False
    assert value["sides"]["rebound"]["matched"] is False


def test_strict_json_refuses_what_is_no_number():
    with pytest.raises(ValueError, match="not JSON compliant"):
        exchange.to_json({"value": math.nan})


def test_fit_as_csv_has_a_row_per_side_and_speed():
    rows = list(csv.DictReader(io.StringIO(exchange.fit_csv(comparison().before))))

    assert [(row["side"], float(row["speed_m_per_s"])) for row in rows] == [
        (side, speed) for side in ("compression", "rebound") for speed in (0.05, 0.13, 0.26, 0.52)
    ]
    assert math.isclose(float(rows[0]["c_N_s_per_m"]), 700 + 620 * 0.05)


def test_compare_as_csv_leaves_unknown_cells_empty():
    result = comparison(corner=False)
    rows = list(csv.DictReader(io.StringIO(exchange.compare_csv(result))))

    assert math.isclose(float(rows[4]["ratio"]), 2700 / 4200)
    assert {row["zeta_before"] for row in rows} == {""}
