"""The JSON and CSV of bounces, drives and jumps hold what the outer face promises, strictly."""

from __future__ import annotations

import csv
import io
import json
import math

import pytest

from tests import moving_results as results
from tests.test_exchange import ESTIMATE, is_estimate, strict
from tuner import exchange
from tuner.judging import judge
from tuner.wording import change_summary

CHANGE = {"before", "after", "difference", "changed", "reasons"}


def fitted(fit) -> dict:
    return strict(exchange.fit_value(results.judged(fit), ()))


def compared(comparison) -> dict:
    return strict(exchange.compare_value(comparison, change_summary(comparison), comparison.notes))


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def test_a_bounce_gives_one_ratio_a_side_without_a_speed():
    value = fitted(results.bounce_fit())

    assert value["kind"] == "bounce"
    for side in ("compression", "rebound"):
        (at,) = value["sides"][side]["zeta"]
        assert at["speed"] is None
        assert is_estimate(at["zeta"], "1")
        assert value["sides"][side]["seen"] is True


def test_a_bounce_gives_what_it_measured_of_the_corner():
    value = fitted(results.bounce_fit())

    assert value["corner"]["frequency"]["value"] == 1.93
    assert is_estimate(value["tyre_rate"], "N/m")
    assert is_estimate(value["friction"], "N")
    assert is_estimate(value["corner"]["body_mode_zeta"], "1")
    assert value["measures"] == {"bounces": 6}


def test_a_side_that_was_not_seen_has_nothing():
    value = fitted(results.bounce_fit(rebound=None))

    assert value["sides"]["rebound"]["seen"] is False
    assert value["sides"]["rebound"]["zeta"] == []


def test_a_drive_gives_its_measures_per_side_and_speed():
    measures = fitted(results.drive_fit())["measures"]

    assert {
        "time_share",
        "peak_speed",
        "mean_position",
        "bottomed",
        "topped_out",
        "packing",
    } <= measures.keys()
    assert is_estimate(measures["mean_position"], "m")
    assert measures["bottomed"] == 2
    assert measures["topped_out"] == 0
    assert measures["packing"] is None
    assert is_estimate(measures["bottomed_per_minute"], "1/min")
    assert [c["speed"] for c in measures["bottomed_contacts"]] == [1.2, pytest.approx(1.3)]
    assert measures["duration"] == 100.0
    for side in ("compression", "rebound"):
        assert is_estimate(measures["peak_speed"][side], "m/s")
        shares = measures["time_share"][side]
        assert [one["low"] for one in shares] == [0.0, 0.05, 0.13, 0.26, 0.52, 1.04, 2.08]
        assert shares[-1]["high"] is None
        assert is_estimate(shares[0]["share"], "1")


def test_stops_that_could_not_be_counted_are_null():
    measures = fitted(results.drive_fit(stops=False))["measures"]

    assert measures["bottomed"] is None
    assert measures["topped_out_per_minute"] is None


def test_a_jump_gives_its_measures_in_radians():
    measures = fitted(results.jump_fit())["measures"]

    for name, unit in (
        ("airtime", "s"),
        ("pitch_rate", "rad/s"),
        ("rotation", "rad"),
        ("landing_peak", "m/s**2"),
    ):
        assert is_estimate(measures[name], unit)
    assert len(measures["jumps"]) == 3
    assert measures["jumps"][0]["sign_known"] is True
    assert is_estimate(measures["jumps"][0]["airtime"], "s")


def test_an_open_landing_is_null_and_said():
    value = fitted(results.jump_fit(peak_open=True))

    assert value["measures"]["landing_peak"]["high"] is None
    assert "open-interval" in [note["code"] for note in value["notes"]]


def test_traces_stay_inside():
    for fit in (results.bounce_fit(), results.drive_fit(), results.jump_fit()):
        assert "traces" not in json.dumps(fitted(fit))


def test_a_change_of_drives_has_its_measures_the_same_way():
    measures = compared(results.drive_change())["measures"]

    assert measures["mean_position"].keys() == CHANGE
    assert measures["mean_position"]["difference"]["value"] == pytest.approx(0.004)
    assert measures["mean_position"]["changed"] is True
    assert measures["peak_speed"].keys() == {"compression", "rebound"}
    assert measures["bottomed"]["before"]["unit"] == "1/min"
    assert measures["packing"]["difference"] is None
    (share,) = measures["time_share"]["rebound"]
    assert share.keys() == {"low", "high", *CHANGE}


def test_a_change_of_jumps_has_its_measures():
    value = compared(results.jump_change())

    assert value["measures"]["pitch_rate"]["before"].keys() == ESTIMATE
    assert value["summary"].startswith("Pitch rate in the air: the tail comes up less (nose down).")
    assert {side["verdict"] for side in value["sides"].values()} == {"cannot tell"}


def test_a_change_of_bounces_has_no_measures_but_ratios():
    value = compared(results.bounce_change())

    assert "measures" not in value
    assert [at["speed"] for at in value["sides"]["rebound"]["change"]] == [None]
    assert value["sides"]["rebound"]["verdict"] == "away"


def test_a_drive_as_a_table():
    table = rows(exchange.fit_csv(results.judged(results.drive_fit())))

    assert {row["measure"] for row in table} >= {"time_share", "peak_speed", "mean_position", "bottomed"}
    (position,) = [row for row in table if row["measure"] == "mean_position"]
    assert float(position["value"]) == pytest.approx(0.094)
    assert position["unit"] == "m"
    fast = [row for row in table if row["measure"] == "time_share" and row["speed_from_m_per_s"] == "2.08"]
    assert [row["speed_to_m_per_s"] for row in fast] == ["", ""]


def test_a_jump_as_a_table():
    table = rows(exchange.fit_csv(judge(results.jump_fit())))

    assert {row["measure"] for row in table} == {"airtime", "pitch_rate", "rotation", "landing_peak"}
    assert all(math.isfinite(float(row["low"])) for row in table)


def test_a_bounce_as_a_table():
    table = rows(exchange.fit_csv(results.judged(results.bounce_fit())))

    assert [(row["side"], row["speed_m_per_s"], row["zeta"]) for row in table] == [
        ("compression", "", "0.27"),
        ("rebound", "", "0.58"),
    ]


def test_a_change_of_bounces_as_a_table():
    table = rows(exchange.compare_csv(results.bounce_change()))

    (rebound,) = [row for row in table if row["side"] == "rebound"]
    assert float(rebound["ratio"]) == pytest.approx(0.37 / 0.58)
    assert rebound["c_before_N_s_per_m"] == ""


def test_changed_measures_as_a_table():
    table = rows(exchange.compare_csv(results.drive_change()))

    (hits,) = [row for row in table if row["measure"] == "bottomed"]
    assert (hits["before"], hits["unit"]) == ("1.2", "1/min")
    assert len([row for row in table if row["measure"] == "peak_speed"]) == 2
