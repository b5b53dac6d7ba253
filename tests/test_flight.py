"""Flights: a rigid body flown by MuJoCo, published projectile numbers, and real phones that were dropped or thrown."""

from __future__ import annotations

import itertools
import math
from pathlib import Path

import numpy as np
import pytest

from tuner.errors import FitError
from tuner.fitting.flight import fit_flight
from tuner.reading import ReadOptions, read_file
from tuner.records import FlightRecord
from tuner.signals.airtimes import find_airtimes

REAL = Path(__file__).parent / "data" / "phone_flights"  # public domain; source and licence beside them
G = 9.8
# Boston University physics note: T = 2 v sin(angle) / g; 20 m/s at 30 degrees, g = 9.8 -> 2.040816 s
SPEED, ANGLE, AIRTIME, PITCH = 20.0, math.radians(30), 2.040816, -0.5
XML = f"""
<mujoco><option gravity="0 0 -{G}" timestep="0.001" integrator="RK4"/>
 <worldbody><body name="frame"><freejoint/><geom type="box" size=".8 .5 .2" mass="200" contype="0" conaffinity="0"/>
  <site name="phone" pos=".2 .1 .1" euler="EULER"/></body></worldbody>
 <sensor><accelerometer site="phone"/><gyro site="phone"/></sensor></mujoco>
"""


def flown(
    euler: str, pitch: float = PITCH, *, gesture: bool = True, rate: int = 200, seed: int = 3
) -> FlightRecord:
    """Rest, a lift of the nose by 8 degrees and back, rest, a flight computed by MuJoCo, a landing shock, rest.

    The frame's nose points along +x and z is up, so a positive rotation about -y lifts the nose.
    """
    mujoco = pytest.importorskip("mujoco")
    model = mujoco.MjModel.from_xml_string(XML.replace("EULER", euler))
    data = mujoco.MjData(model)
    data.qvel[:3] = SPEED * math.cos(ANGLE), 0, SPEED * math.sin(ANGLE)
    data.qvel[4] = -pitch  # about y; nose up is -y
    mujoco.mj_forward(model, data)
    to_phone = data.site_xmat[0].reshape(3, 3).T
    force, rotation = [], []
    for _ in range(round(AIRTIME / model.opt.timestep)):
        force.append(data.sensordata[:3].copy())
        rotation.append(data.sensordata[3:].copy())
        mujoco.mj_step(model, data)
    rest = np.tile(to_phone @ [0, 0, G], (1000, 1))
    still = np.zeros((1000, 3))
    lift = np.zeros((1000, 3))
    if gesture:
        lift += np.outer(
            math.radians(8) * math.pi * np.sin(2 * math.pi * np.arange(1000) / 1000), to_phone @ [0, -1, 0]
        )
    shock = rest * (1 + 5 * np.exp(-np.arange(1000) / 30.0))[:, None]
    f = np.concatenate([rest, rest, rest, force, shock, rest])
    w = np.concatenate([still, lift, still, rotation, still, still])
    rng = np.random.default_rng(seed)
    pick = np.arange(0, len(f), 1000 // rate)
    time = pick / 1000 + rng.uniform(-3e-4, 3e-4, pick.size)
    return FlightRecord(
        time,
        f[pick] + rng.normal(0, 0.15, (pick.size, 3)),
        w[pick] + np.radians(0.4) + rng.normal(0, 0.01, (pick.size, 3)),
    )


@pytest.mark.parametrize("euler", ["0 0 0", "90 0 0", "180 0 30", "20 -35 110"])
def test_a_flight_made_by_mujoco_comes_back_in_any_orientation_of_the_phone(euler):
    """Airtime 2.0408 s, pitch rate constant, rotation = rate * airtime; nose down is negative."""
    jump = fit_flight(flown(euler))

    assert jump.airtime.value == pytest.approx(AIRTIME, abs=0.012)
    assert jump.airtime.contains(AIRTIME)
    assert jump.pitch_rate.value == pytest.approx(PITCH, abs=0.01)
    assert jump.pitch_rate.contains(PITCH)
    assert jump.rotation.contains(PITCH * AIRTIME)
    assert jump.landing_peak.contains(6 * G) or jump.landing_peak.value == pytest.approx(6 * G, rel=0.1)


def test_without_a_lift_of_the_nose_the_direction_is_said_to_be_unknown():
    fit = fit_flight(flown("0 0 0", gesture=False))

    assert "nose-direction-unknown" in [n.code for n in fit.notes]
    assert fit.pitch_rate.value == pytest.approx(abs(PITCH), abs=0.01)


def test_the_user_can_say_which_phone_axis_lifts_the_nose():
    bare = flown("0 0 0", gesture=False)

    fit = fit_flight(FlightRecord(bare.time, bare.acceleration, bare.rotation, nose_up_axis=(0.0, -1.0, 0.0)))

    assert fit.pitch_rate.value == pytest.approx(PITCH, abs=0.01)
    assert "nose-direction-unknown" not in [n.code for n in fit.notes]


def test_without_a_gyroscope_the_pitch_is_unknown():
    full = flown("0 0 0")

    fit = fit_flight(FlightRecord(full.time, full.acceleration))

    assert fit.pitch_rate is None
    assert "no-gyroscope" in [n.code for n in fit.notes]
    assert not fit.compression.seen


def test_engine_vibration_does_not_hide_the_flight():
    full = flown("0 0 0")
    shake = 4.0 * np.sin(2 * np.pi * 47.0 * full.time)[:, None] * np.array([0.5, 0.3, 0.8])

    fit = fit_flight(FlightRecord(full.time, full.acceleration + shake, full.rotation))

    assert fit.airtime.value == pytest.approx(AIRTIME, abs=0.04)


def test_several_jumps_are_averaged_and_their_scatter_sets_the_interval():
    parts = [flown("0 0 0", pitch=p, seed=i) for i, p in enumerate((-0.5, -0.7, -0.6))]
    time = np.concatenate([p.time + i * 10 for i, p in enumerate(parts)])
    record = FlightRecord(
        time, np.vstack([p.acceleration for p in parts]), np.vstack([p.rotation for p in parts])
    )

    fit = fit_flight(record)

    assert len(fit.jumps) == 3
    assert fit.pitch_rate.value == pytest.approx(-0.6, abs=0.01)
    # Student's t, 2 degrees of freedom: 4.303 * 0.1 / sqrt(3)
    assert fit.pitch_rate.high - fit.pitch_rate.value == pytest.approx(0.248, rel=0.1)


def test_a_recording_without_a_jump_is_refused_with_what_was_needed():
    time = np.arange(400) / 100
    still = np.tile([0.0, 0.0, G], (400, 1))

    with pytest.raises(FitError, match=r"0\.15 s") as caught:
        fit_flight(FlightRecord(time, still))

    assert "gravity" in caught.value.hint


@pytest.mark.parametrize(
    ("name", "begins", "lasts"),
    [
        ("fall_11", 2.849, 0.651),
        ("fall_3", 2.629, 0.670),
        ("up_and_down_4", 1.143, 0.878),
        ("up_and_down_9", 1.263, 0.887),
    ],
)
def test_real_phones_in_the_air_are_found(name, begins, lasts):
    """Recordings by F. Saliby (arXiv 2410.14172, CC0): against the longest run of raw samples below half g."""
    record = read_file(REAL / f"{name}.csv", ReadOptions(kind="flight")).record
    below = np.linalg.norm(record.acceleration, axis=1) < 0.5 * G
    edges = np.flatnonzero(np.diff(below.astype(int)))
    runs = [
        (record.time[b] - record.time[a], record.time[a])
        for a, b in itertools.pairwise(edges)
        if below[a + 1]
    ]
    # every second sample was kept: the ends of the run are no more than two samples of the whole recording away
    assert max(runs) == pytest.approx((lasts, begins), abs=0.011)

    longest = max(find_airtimes(record.time, record.acceleration), key=lambda a: a.duration)
    # a hand lets go over up to 35 ms: in up_and_down_9 the raw magnitude crosses half g three times in that span
    assert longest.duration == pytest.approx(lasts, abs=0.04)
    assert longest.start == pytest.approx(begins, abs=0.04)


@pytest.mark.parametrize(("name", "lasts"), [("fall_11", 0.651), ("fall_3", 0.670)])
def test_a_real_drop_is_one_jump_whose_interval_holds_its_time_in_the_air(name, lasts):
    fit = fit_flight(read_file(REAL / f"{name}.csv", ReadOptions(kind="flight")).record)

    assert len(fit.jumps) == 1
    assert fit.airtime.contains(lasts)
    assert {"no-gyroscope", "one-jump"} <= {note.code for note in fit.notes}
    assert fit.pitch_rate is None
