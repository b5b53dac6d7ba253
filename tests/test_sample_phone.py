"""The samples of phone and sensor: made by their script, read without a word, saying what their truth says."""

from __future__ import annotations

import json
import math
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sample_data.damper_model import GRAVITY
from sample_data.phone_model import STEP, Phone, accelerometer, gyroscope, simulate, turned
from sample_data.phone_scenario import WHEELBASE, buggy, driven, jumped, phone_files
from tuner.fitting.bounce import fit_bounce
from tuner.fitting.flight import fit_flight
from tuner.fitting.travel import fit_travel
from tuner.kinds import kind_of
from tuner.machine import read_machine
from tuner.reading import Reading, read_file
from tuner.records import SIDES, BounceRecord, FlightRecord, TravelRecord
from tuner.signals.bounces import find_bounces

FOLDER = Path(__file__).resolve().parents[1] / "sample_data"
KINDS = {
    "bounce_rear_before.csv": "bounce",
    "bounce_rear_after_draining.csv": "bounce",
    "bounce_rear_before_sensor.csv": "bounce",
    "drive_rear_before.csv": "travel",
    "drive_rear_after.csv": "travel",
    "jump_before.csv": "flight",
    "jump_after.csv": "flight",
}
NUMBER = re.compile(r"-?\d+(?:[.,]\d+)?")


def text_of(data: bytes) -> str:
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        return data.decode("latin-1")


@pytest.fixture(scope="module")
def truth() -> dict[str, Any]:
    table: dict[str, Any] = json.loads((FOLDER / "truth_motion.json").read_text(encoding="utf-8"))
    return table


@pytest.fixture(scope="module")
def readings() -> dict[str, Reading]:
    return {name: read_file(FOLDER / name) for name in KINDS}


def test_the_script_makes_every_file_anew() -> None:
    """The words agree exactly; one number in a thousand may differ by one unit in its last place.

    Another processor's sine may differ in the last bit and push a value over the edge of a quantum.
    """
    made = phone_files()
    assert set(made) == set(KINDS) | {"truth_motion.json"}
    for name, content in made.items():
        stored, fresh = text_of((FOLDER / name).read_bytes()), text_of(content)
        if stored == fresh:
            continue
        pairs = list(zip(NUMBER.findall(stored), NUMBER.findall(fresh), strict=True))
        apart = [(a, b) for a, b in pairs if a != b]
        assert NUMBER.sub("#", stored) == NUMBER.sub("#", fresh), name
        assert len(apart) <= len(pairs) / 1000, name
        for a, b in apart:
            one, other = float(a.replace(",", ".")), float(b.replace(",", "."))
            assert abs(one - other) <= 2e-3 * max(1.0, abs(one)), name


@pytest.mark.parametrize("name", list(KINDS))
def test_every_file_is_read_as_its_kind(name: str, readings: dict[str, Reading]) -> None:
    assert kind_of(readings[name].record) == KINDS[name]


def test_the_styles_differ() -> None:
    heads = {name: (FOLDER / name).read_bytes()[:400] for name in KINDS}
    found = {
        tuple(mark in head for mark in (b"\t", b";", b"\r\n", b'"', b"#", b"%")) for head in heads.values()
    }
    assert len(found) >= 5
    assert re.search(rb"\d,\d", (FOLDER / "drive_rear_after.csv").read_bytes()[:400])


def test_the_whole_folder_stays_small() -> None:
    assert sum(p.stat().st_size for p in FOLDER.iterdir() if p.is_file()) < 8e6


@pytest.mark.parametrize("name", [n for n, kind in KINDS.items() if kind == "bounce"])
def test_every_bounce_is_found_where_the_hands_let_go(
    name: str, readings: dict[str, Reading], truth: dict[str, Any]
) -> None:
    record = readings[name].record
    assert isinstance(record, BounceRecord)
    found = find_bounces(record.time, record.signal, record.quantity)
    releases = np.array(truth["releases"][name])
    begin = 0.0 if record.time[0] < 1.0 else record.time[0]
    assert len(found.used) == len(releases)
    np.testing.assert_allclose([b.release - begin for b in found.used], releases, atol=0.06)
    half = len(releases) // 2
    assert [b.direction for b in found.used] == ["push"] * half + ["lift"] * half


def test_the_messes_of_the_files_are_in_their_quality_reports(readings: dict[str, Reading]) -> None:
    before, after = (readings[f"bounce_rear_{s}.csv"].record.quality for s in ("before", "after_draining"))
    assert before.rate_hz == pytest.approx(187.0, rel=2e-3)
    assert before.jitter is not None
    assert before.jitter > 0.05
    assert after.rate_hz == pytest.approx(198.0, rel=2e-3)
    assert after.gaps == 1
    assert after.duplicates > 5
    notes = {n.code for n in after.notes}
    assert {"gaps", "equal-times"} <= notes
    decided = " ".join(readings["bounce_rear_after_draining.csv"].decided)
    assert "the phone's -z axis" in decided
    assert "a blank is a row of another sensor" in decided
    assert "since 1970" in " ".join(readings["bounce_rear_before.csv"].decided)
    assert "rad/s: so it turns gravity" in " ".join(readings["jump_before.csv"].decided)


def test_the_corner_is_the_one_of_the_machine_file(truth: dict[str, Any]) -> None:
    """Handbook formulas on the machine file's values: f = sqrt(k r^2 / m) / 2 pi, c_crit = 2 sqrt(k r^2 m)."""
    machine = read_machine((FOLDER / "dune_hopper.toml").read_text(encoding="utf-8"), "dune_hopper.toml")
    corner = machine.corner("rear left")
    assert corner.motion_ratio.constant is not None
    assert corner.tyre_rate is not None
    ratio = corner.motion_ratio.constant.value
    rate, mass = corner.spring_rate.value * ratio**2, corner.sprung_mass.value
    bench = json.loads((FOLDER / "truth.json").read_text(encoding="utf-8"))["settings"]
    for setting in ("rear left before", "rear left after draining"):
        told = truth["corners"][setting]
        assert told["frequency"] == pytest.approx(math.sqrt(rate / mass) / (2 * math.pi), rel=1e-3)
        assert told["critical_damping"] == pytest.approx(2 * math.sqrt(rate * mass), rel=1e-3)
        assert told["tyre_rate"] == pytest.approx(corner.tyre_rate.value)
        for side, zetas in told["zeta"].items():
            secants = np.array(bench[setting]["sides"][side]["secant"])
            np.testing.assert_allclose(zetas, secants * ratio**2 / told["critical_damping"], rtol=1e-3)
    total = buggy("before")
    assert total.rear.sprung == 2 * mass
    assert total.mass == pytest.approx(sum(c.sprung_mass.value for c in machine.corners.values()))
    assert machine.body is not None


@pytest.mark.parametrize("state", ["before", "after"])
def test_drives_say_their_truth(state: str, readings: dict[str, Reading], truth: dict[str, Any]) -> None:
    name = f"drive_rear_{state}.csv"
    record = readings[name].record
    assert isinstance(record, TravelRecord)
    told = truth["drives"][name]
    assert float(record.travel[:400].mean()) == pytest.approx(told["static_travel"], abs=5e-5)
    assert float(record.travel.mean()) == pytest.approx(told["mean_position"], abs=2e-4)
    assert float(record.travel.max()) == pytest.approx(told["highest_travel"], abs=1.5e-3)
    assert float(record.travel.min()) == pytest.approx(told["lowest_travel"], abs=1.5e-3)
    clean = driven(state)
    np.testing.assert_allclose(
        record.travel, np.interp(record.time - _begin(record), clean.time, clean.rear_travel), atol=2e-3
    )
    assert fit_travel(record).mean_position is not None


def _begin(record: TravelRecord) -> float:
    return 0.0 if record.time[0] < 1.0 else float(record.time[0]) - 2e-4


@pytest.mark.parametrize("state", ["before", "after"])
def test_jumps_say_their_truth(state: str, readings: dict[str, Reading], truth: dict[str, Any]) -> None:
    """Nose down, at the true rate; the phone's airtime is longer than that of the tyres, as README says."""
    record = readings[f"jump_{state}.csv"].record
    assert isinstance(record, FlightRecord)
    jumps = fit_flight(record).jumps
    told = truth["jumps"][f"jump_{state}.csv"]
    assert len(jumps) == len(told) == 3
    for jump, true in zip(jumps, told, strict=True):
        assert jump.sign_known
        assert jump.pitch_rate.value == pytest.approx(true["pitch_rate"], abs=0.02)
        assert true["airtime"] < jump.airtime.value + 0.005 < true["airtime"] + 0.06
        assert jump.start == pytest.approx(true["start"], abs=0.05)


def test_draining_makes_the_nose_drop_faster(truth: dict[str, Any]) -> None:
    before, after = (
        np.mean([j["pitch_rate"] for j in truth["jumps"][f"jump_{s}.csv"]]) for s in ("before", "after")
    )
    assert after < 1.03 * before < 0


# the model against closed forms


def test_free_motion_keeps_the_books() -> None:
    """At rest nothing moves; the weight of the machine stands on its tyres."""
    motion = simulate(buggy("before"), 0.5)
    assert float(np.abs(motion.heave).max()) < 1e-12
    total = buggy("before").mass + buggy("before").front.unsprung + buggy("before").rear.unsprung
    assert motion.front_load[0] + motion.rear_load[0] == pytest.approx(total * GRAVITY)


def test_in_the_air_the_centre_of_mass_falls_freely_and_turning_stays() -> None:
    """While no tyre touches, the momentum of all masses falls by g; the phone at the body reads next to nothing."""
    motion, _, jumps = jumped("before")
    for jump in jumps:
        inside = (motion.time > jump.start + 0.05) & (motion.time < jump.start + jump.airtime - 0.05)
        assert float(np.abs(motion.heave_acceleration[inside] + GRAVITY).max()) < 0.35 * GRAVITY
        assert float(np.ptp(motion.pitch_rate[inside])) < 0.1 * abs(jump.pitch_rate)


def test_half_the_step_gives_the_same_motion() -> None:
    hands = np.zeros(2 * round(2.0 / STEP) + 1)
    hands[: round(0.6 / STEP)] = -1200.0
    coarse = simulate(buggy("after", rested=True), 2.0, push=hands)
    fine = simulate(buggy("after", rested=True), 2.0, push=np.repeat(hands, 2)[:-1], step=0.5 * STEP)
    assert float(np.abs(coarse.heave - fine.heave[::2]).max()) < 0.02 * float(np.ptp(coarse.heave))


def test_a_phone_over_the_axle_reads_that_end() -> None:
    """A level phone without faults reads gravity plus d2z/dt2 of the rear end."""
    hands = np.zeros(2 * round(2.0 / STEP) + 1)
    hands[: round(0.6 / STEP)] = -1200.0
    motion = simulate(buggy("before"), 2.0, push=hands)
    lever = buggy("before").rear.lever
    phone = Phone(turned(0, 0, 0), ahead=lever, noise=0.0, bias=(0, 0, 0), scale=(1, 1, 1), jitter=0.0)
    time, force = accelerometer(motion, phone, np.random.RandomState(0))
    height = motion.heave + lever * motion.pitch
    second = np.gradient(np.gradient(height, STEP), STEP)
    smooth = (time > 0.7) & (time < 1.9)
    expected = np.interp(time, motion.time, second) + GRAVITY
    assert float(np.abs(force[smooth, 2] - expected[smooth]).max()) < 0.05
    assert lever == pytest.approx(-WHEELBASE * 0.442, rel=1e-3)


def test_a_gyroscope_adds_up_to_the_lift_of_the_nose() -> None:
    motion, carried, _ = jumped("before")
    phone = Phone(turned(0, 0, 0), gyro_rate=200.0, gyro_noise=0.0, gyro_bias=(0, 0, 0), jitter=0.0)
    time, rate = gyroscope(motion, phone, np.random.RandomState(0), carried)
    early = time < 4.4
    assert float(-rate[early, 1].sum() / 200.0) == pytest.approx(math.radians(9.0), abs=0.01)


@pytest.mark.parametrize("known", [True, False])
@pytest.mark.parametrize("name", [n for n, kind in KINDS.items() if kind == "bounce"])
def test_bounces_say_their_truth(
    name: str, known: bool, readings: dict[str, Reading], truth: dict[str, Any]
) -> None:
    """The ratio is a secant of the true curve somewhere among the speeds of the bounces, with or without the machine.

    Without it the mass that swings stands for the weighed one, which is 6 % more in this pitching machine.
    """
    machine = read_machine((FOLDER / "dune_hopper.toml").read_text(encoding="utf-8"), "dune_hopper.toml")
    record = readings[name].record
    assert isinstance(record, BounceRecord)
    fit = fit_bounce([record], machine.corner("rear left") if known else None)
    told = truth["corners"][f"rear left {'after draining' if 'after' in name else 'before'}"]["zeta"]
    for side in SIDES:
        zeta = fit.side(side).zeta
        assert zeta is not None
        reached = told[side][:3]  # the hands move the shaft at up to 0.26 m/s
        doubt = 0.03 if known else 0.05
        assert min(reached) - doubt < zeta.value < max(reached) + doubt
