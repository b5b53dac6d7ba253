"""Phone and sensor files in every style: the trace that was put in comes back, or one sentence says why not."""

from __future__ import annotations

import math
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from motion_texts import G, driving, felt, flight, phone_text, ringing, shaft_bounces, table, turn

from tuner.errors import InputRefused, TunerError, UsageError
from tuner.fitting.flight import fit_flight
from tuner.kinds import kind_of
from tuner.reading import Reading, ReadOptions, preview, read_bytes, read_file, read_values
from tuner.records import BounceRecord, FlightRecord, Kind, TravelRecord
from tuner.signals.bounces import find_bounces
from tuner.signals.rests import find_rests
from tuner.wording.doubts import note_text

REAL = Path(__file__).parent / "data" / "phone_flights"
TIME, SIGNAL = ringing(jitter=0.1)
TILTED = turn(20, -35, 60)
FORCE = felt(SIGNAL, TILTED)
LINEAR = felt(SIGNAL, TILTED, gravity=0.0)
AXES = "xyz"


def read(
    text: str,
    kind: Kind | None = None,
    *,
    columns: dict[str, str] | None = None,
    units: dict[str, str] | None = None,
    **settings: str,
) -> Reading:
    return read_bytes(text.encode(), "phone.csv", ReadOptions(kind, columns or {}, units or {}, settings))


def refused(text: str, words: str, kind: Kind | None = None, **settings: str) -> TunerError:
    """It is refused in one sentence that holds these words."""
    with pytest.raises(TunerError, match=words) as error:
        read(text, kind, **settings)
    assert "\n" not in error.value.message + error.value.hint
    assert error.value.hint
    return error.value


def names(what: str, unit: str) -> list[str]:
    return [f"{what} {a} ({unit})" for a in AXES]


def codes(reading: Reading) -> set[str]:
    return {n.code for n in reading.record.quality.notes}


def alike(
    reading: Reading, time: np.ndarray = TIME, signal: np.ndarray = SIGNAL, *, start: float = 0.0
) -> None:
    """The record is the vertical acceleration that was put in, sign and size included."""
    record = reading.record
    assert isinstance(record, BounceRecord)
    assert record.quantity == "acceleration"
    there = np.interp(record.time - start, time, signal)
    assert float(np.sqrt(np.mean((record.signal - there) ** 2))) < 0.12
    assert float(record.signal @ there / (there @ there)) == pytest.approx(1.0, abs=0.02)


# the vertical, whichever way the phone lies


@pytest.mark.parametrize(
    "turned",
    [turn(0, 0, 0), turn(180, 0, 0), turn(0, 90, 0), turn(-90, 0, 40), turn(20, -35, 60), turn(170, 12, -80)],
    ids=["flat", "upside down", "on its edge", "on its side", "tilted", "upside down and tilted"],
)
def test_up_comes_from_gravity_however_the_phone_lies(turned: np.ndarray) -> None:
    alike(read(phone_text(TIME, felt(SIGNAL, turned))))


def test_a_maker_that_turns_all_signs_round_changes_nothing() -> None:
    """At rest such a phone reads gravity downwards, and every other acceleration is turned round too."""
    alike(read(phone_text(TIME, -FORCE)))
    gravity = np.tile(TILTED @ [0, 0, G], (TIME.size, 1))
    for sign in (1, -1):
        columns = [TIME, *(sign * LINEAR).T, *(sign * gravity).T]
        text = table(
            ["time (s)", *names("linear acceleration", "m/s2"), *names("gravity", "m/s2")],
            columns,
            [".4f"] * 7,
        )
        alike(read(text))


def test_many_orientations_at_random() -> None:
    rng = np.random.default_rng(5)
    for angles in rng.uniform(-180, 180, (12, 3)):
        alike(read(phone_text(TIME, felt(SIGNAL, turn(*angles)))))


@pytest.mark.parametrize(
    ("unit", "scale"), [("m/s2", 1.0), ("m/s^2", 1.0), ("g", G), ("mm/s2", 1e-3), ("ft/s2", 0.3048)]
)
def test_units_of_acceleration(unit: str, scale: float) -> None:
    header = ["time (s)", *names("acc", unit)]
    alike(read(phone_text(TIME, FORCE, header=header, scale=scale)))


@pytest.mark.parametrize("scale", [1.0, G])
def test_a_unit_that_is_not_named_is_told_by_gravity(scale: float) -> None:
    reading = read(phone_text(TIME, FORCE, header=("time (s)", "accX", "accY", "accZ"), scale=scale))
    alike(reading)
    assert any("at rest it reads" in d for d in reading.decided)
    used = {c.role: c.unit for c in reading.record.provenance.columns}
    assert used["acceleration_x"] == ("m/s**2" if scale == 1.0 else "g")


def test_a_unit_that_gravity_contradicts_is_refused() -> None:
    for scale, unit, found in ((G, "m/s2", "it reads 1 m/s"), (1.0, "g", "it reads 96")):
        text = phone_text(TIME, FORCE, header=["time (s)", *names("a", unit)], scale=scale)
        refused(text, found)
    header = ["time (s)", *names("linear acceleration", "")]
    error = refused(
        phone_text(TIME, LINEAR, header=[h.replace(" ()", "") for h in header]), "must name the unit"
    )
    assert "--unit linear_x" in error.hint


# gravity out


def test_without_gravity_the_line_is_known_but_not_which_end_is_up() -> None:
    text = phone_text(TIME, LINEAR)
    error = refused(text, "either end can be up")
    assert "start=push" in error.hint
    assert "up_axis" in error.hint
    alike(read(text, start="push"))
    record = read(text, start="lift").record
    assert isinstance(record, BounceRecord)
    assert float(record.signal @ np.interp(record.time, TIME, SIGNAL)) < 0
    lifted = ringing(jitter=0.1, lift=range(4))[1]
    alike(read(phone_text(TIME, felt(lifted, TILTED, gravity=0.0)), start="lift"), signal=lifted)


def test_the_axis_that_points_up_can_be_said() -> None:
    text = phone_text(TIME, felt(SIGNAL, turn(180, 0, 30), gravity=0.0))
    reading = read(text, up_axis="-z")
    alike(reading)
    assert "up-not-checked" in codes(reading)
    checked = read(text, up_axis="-z", start="push")
    alike(checked)
    assert "up-not-checked" not in codes(checked)
    refused(text, "begins the other way", up_axis="+z", start="push")


def test_motion_along_no_line_is_refused() -> None:
    shaken = LINEAR + np.random.default_rng(1).normal(0, 2.0, LINEAR.shape) * (np.abs(SIGNAL) > 0.5)[:, None]
    refused(phone_text(TIME, shaken), "of the motion runs along one line")


@pytest.mark.parametrize("sign", [1, -1], ids=["phone to world", "world to phone"])
def test_a_quaternion_tells_up(sign: int) -> None:
    """scipy turns the matrix into the quaternion."""
    rotation = pytest.importorskip("scipy.spatial.transform").Rotation
    x, y, z, w = rotation.from_matrix(TILTED.T).as_quat()
    parts = [np.full(TIME.size, v) for v in (w, sign * x, sign * y, sign * z)]
    header = ["time (s)", *names("user acceleration", "m/s2"), "qw", "qx", "qy", "qz"]
    alike(read(table(header, [TIME, *LINEAR.T, *parts], [".4f"] * 8)))
    parts[0], parts[1:] = np.ones(TIME.size), [np.zeros(TIME.size)] * 3
    refused(table(header, [TIME, *LINEAR.T, *parts], [".4f"] * 8), "must show where up is")


def test_gravity_columns_beside_linear_acceleration_and_plain_acceleration_first() -> None:
    header = ["time (s)", *names("linear acceleration", "m/s2"), *names("acceleration", "m/s2")]
    reading = read(table(header, [TIME, *LINEAR.T, *FORCE.T], [".4f"] * 7))
    alike(reading)
    assert any("gravity is in" in d for d in reading.decided)


def test_one_axis_must_be_the_vertical() -> None:
    alike(read(table(["time (s)", "az (m/s2)"], [TIME, felt(SIGNAL, turn(3, 2, 0))[:, 2]], [".4f"] * 2)))
    refused(table(["time (s)", "az (m/s2)"], [TIME, FORCE[:, 2]], [".4f"] * 2), "that axis is tilted")
    alone = table(["time (s)", "vertical acceleration (m/s2)"], [TIME, SIGNAL], [".4f"] * 2)
    refused(alone, "must say which way is up")
    alike(read(alone, start="push"))
    alike(read(alone.replace("acceleration (", "acceleration up ("), None))
    downward = table(["time (s)", "vertical acceleration down (m/s2)"], [TIME, -SIGNAL], [".4f"] * 2)
    alike(read(downward))
    size = table(
        ["time (s)", "absolute acceleration (m/s2)"], [TIME, np.linalg.norm(FORCE, axis=1)], [".4f"] * 2
    )
    refused(size, "holds only its size")


# time


@pytest.mark.parametrize(
    ("name", "scale", "origin"),
    [
        ("time (s)", 1.0, 0.0),
        ("time (ms)", 1e3, 0.0),
        ("t_us", 1e6, 0.0),
        ("Time [ns]", 1e9, 0.0),
        ("time", 1.0, 0.0),
        ("time", 1e3, 0.0),
        ("timestamp", 1e6, 81_000.0),
        ("timestamp", 1e9, 81_000.0),
        ("timestamp", 1.0, 1.7e9),
        ("timestamp", 1e3, 1.7e9),
        ("timestamp", 1e6, 1.7e9),
        ("timestamp", 1e9, 1.7e9),
        ("timestamp (ms)", 1e3, 1.7e9),
    ],
)
def test_time_in_any_unit_and_since_1970(name: str, scale: float, origin: float) -> None:
    text = phone_text(
        TIME,
        FORCE,
        header=(name, "ax (m/s2)", "ay (m/s2)", "az (m/s2)"),
        clock=lambda t: (t + origin) * scale,
        time_digits=".5f" if scale == 1.0 else ".3f" if scale == 1e3 else ".0f",
    )
    reading = read(text)
    alike(reading, start=0.0 if origin == 0.0 else -float(TIME[0]))
    assert reading.record.provenance.rate_hz == pytest.approx(200.0, rel=2e-3)


@pytest.mark.parametrize(
    "form", ["%Y-%m-%dT%H:%M:%S.%f", "%Y-%m-%d %H:%M:%S.%fZ", "%Y-%m-%dT%H:%M:%S.%f+02:00", "%H:%M:%S.%f"]
)
@pytest.mark.parametrize("rows", [900, 4800], ids=["row by row", "at full speed"])
def test_date_times_and_clocks_that_pass_midnight(form: str, rows: int) -> None:
    begin = datetime(2025, 5, 31, 23, 59, 57)
    lines = ["time,ax (m/s2),ay (m/s2),az (m/s2)"]
    for t, (x, y, z) in zip(TIME[:rows], FORCE[:rows], strict=True):
        lines.append(f"{(begin + timedelta(seconds=float(t))).strftime(form)},{x:.4f},{y:.4f},{z:.4f}")
    reading = read("\n".join(lines), "bounce" if rows < 1000 else None)
    alike(reading, TIME[:rows], SIGNAL[:rows], start=-float(TIME[0]))


def test_a_time_whose_unit_gives_no_rate_of_a_logger_is_refused() -> None:
    error = refused(phone_text(TIME, FORCE, header=["time (min)", *names("a", "m/s2")]), "samples a second")
    assert "--unit time" in error.hint
    refused(phone_text(TIME, FORCE, clock=lambda t: t * 1e3), "samples a second")


@pytest.mark.parametrize("coarse", [0.05, 0.1, 1.0])
def test_stamps_coarser_than_the_samples_are_spread(coarse: float) -> None:
    """Rows of one stamp are spread evenly: each lies within half a sample of its true time, but for a shift."""
    even, signal = ringing()
    text = phone_text(even, felt(signal, TILTED), clock=lambda t: np.floor(t / coarse + 1e-9) * coarse)
    reading = read(text)
    assert "coarse-stamps" in codes(reading)
    np.testing.assert_allclose(reading.record.time, even, atol=0.0026)
    assert reading.record.provenance.rate_hz == pytest.approx(200.0, rel=1e-3)
    assert reading.record.quality.duplicates > 0.5 * even.size


def test_stamps_rounded_to_a_millisecond_keep_the_true_rate() -> None:
    time, signal = ringing(rate=187.0)
    reading = read(phone_text(time, felt(signal, TILTED), clock=lambda t: np.round(t, 3)))
    assert reading.record.provenance.rate_hz == pytest.approx(187.0, rel=1e-3)
    assert 0.01 < (reading.record.quality.jitter or 0.0) < 0.1


def test_jitter_is_the_scatter_of_the_steps() -> None:
    """Stamps uniformly off by up to 10 % of a step: steps scatter by 0.1 sqrt(2/3)."""
    time, signal = ringing(jitter=0.1)
    quality = read(phone_text(time, felt(signal, TILTED))).record.quality
    assert quality.jitter == pytest.approx(0.1 * math.sqrt(2.0 / 3.0), rel=0.1)


def test_rows_written_twice_late_rows_gaps_and_blanks_are_counted() -> None:
    keep = (TIME < 10.0) | (TIME > 11.3)
    time, force = TIME[keep], FORCE[keep].copy()
    force[200:230, 1] = np.nan
    lines = phone_text(time, force).splitlines()
    lines[3000], lines[3002] = lines[3002], lines[3000]
    lines = lines[:50] + lines[49:]
    reading = read("\n".join(lines))
    alike(reading)
    quality = reading.record.quality
    assert quality.gaps == 2
    assert quality.duplicates == 1
    assert quality.dropouts == 30
    assert {"gaps", "equal-times", "missing-rows", "out-of-order"} <= codes(reading)
    gap = next(note_text(n) for n in quality.notes if n.code == "gaps")
    assert "1.45 s in all" in gap
    assert "1.30 s, at 10.0 s" in gap


def test_two_recordings_in_one_file_and_a_falling_time_are_refused() -> None:
    one = phone_text(TIME, FORCE).splitlines()
    refused("\n".join(one + one[1:]), "must hold one recording")
    refused(phone_text(TIME[::-1], FORCE), "must have a time that rises")
    wrong = one.copy()
    wrong[500] = "99" + wrong[500]
    refused("\n".join(wrong), "line 502 is earlier")


@pytest.mark.parametrize("late", [1e3, 1e7, 1e12])
def test_a_last_time_that_is_far_off_is_refused(late: float) -> None:
    """One wrong time must not make anything count through the years between."""
    time = np.append(TIME[:-1], TIME[-1] + late)
    refused(phone_text(time, FORCE), f"before line {TIME.size + 1} there is nothing")
    time = np.append(DRIVE[0][:-1], DRIVE[0][-1] + late)
    refused(
        table(["time (s)", "travel (mm)"], [time, 1e3 * DRIVE[1]], [".4f", ".3f"]), "must hold one recording"
    )


# rates


def test_slow_recordings() -> None:
    for rate, ok in ((20.0, False), (50.0, True)):
        time, signal = ringing(rate=rate)
        text = phone_text(time, felt(signal, TILTED))
        if ok:
            assert "slow-sampling" in codes(read(text))
        else:
            assert "100 a second" in refused(text, "must have at least 30 samples a second").hint


# what spoils a recording


def test_engine_vibration_is_noted_and_up_is_still_found() -> None:
    for frequency in (30.0, 47.0, 90.0):
        shaken = SIGNAL + 1.5 * np.sin(2 * math.pi * frequency * TIME)
        reading = read(phone_text(TIME, felt(shaken, TILTED)))
        alike(reading, signal=shaken)
        note = next(note_text(n) for n in reading.record.quality.notes if n.code == "engine-vibration")
        assert f"at {frequency:.0f} Hz" in note
    assert "engine-vibration" not in codes(read(phone_text(TIME, FORCE)))


def test_a_clipped_sensor_is_noted_and_a_clean_one_is_not() -> None:
    strong = felt(ringing(jitter=0.1, size=14.0)[1], turn(0, 0, 0))
    limit = 2.0 * G
    true_share = float(np.mean(strong[:, 2] >= limit))
    quality = read(phone_text(TIME, np.clip(strong, -limit, limit))).record.quality
    assert quality.clipped_share == pytest.approx(true_share, rel=0.3)
    assert any(n.code == "clipped" for n in quality.notes)
    assert read(phone_text(TIME, strong)).record.quality.clipped_share == 0.0
    coarse = read(phone_text(TIME, np.round(FORCE / 0.15) * 0.15))
    assert coarse.record.quality.clipped_share == 0.0


def test_a_phone_that_slipped_is_used_up_to_there_or_from_there_on() -> None:
    for at, kept in ((16.6, "first"), (6.6, "second")):
        force = FORCE.copy()
        force[at < TIME] = felt(SIGNAL, turn(0, 14, 0) @ TILTED)[at < TIME]
        reading = read(phone_text(TIME, force))
        note = next(note_text(n) for n in reading.record.quality.notes if n.code == "phone-slipped")
        degrees = math.degrees(math.acos(float((turn(0, 14, 0) @ TILTED @ [0, 0, 1]) @ (TILTED @ [0, 0, 1]))))
        assert f"by {degrees:.0f} degrees" in note
        record = reading.record
        assert (record.time[-1] < at + 0.1) if kept == "first" else (record.time[0] > at - 0.1)
        alike(reading)
    little = FORCE.copy()
    little[TIME > 12] = felt(SIGNAL, turn(0, 1, 0) @ TILTED)[TIME > 12]
    alike(read(phone_text(TIME, little)))


def test_an_end_held_up_by_hand_is_no_slip() -> None:
    force = FORCE.copy()
    for release in (9.0, 14.0, 19.0):
        held = (release - 1.9 < TIME) & (release - 1.1 > TIME)
        force[held] = felt(SIGNAL, turn(0, 5, 0) @ TILTED)[held]
    reading = read(phone_text(TIME, force))
    assert "phone-slipped" not in codes(reading)
    assert reading.record.time.size == TIME.size


def test_a_bounce_cut_off_at_its_start_is_read() -> None:
    late = TIME > 4.03
    record = read(phone_text(TIME[late], FORCE[late])).record
    assert isinstance(record, BounceRecord)
    found = find_bounces(record.time, record.signal, "acceleration")
    assert len(found.used) == 3
    assert any("begins in the middle" in gone.reason for gone in found.left_out)
    alone = (TIME > 4.03) & (TIME < 8.0)
    assert isinstance(read(phone_text(TIME[alone], FORCE[alone])).record, BounceRecord)


@pytest.mark.parametrize("rate", [100.0, 200.0])
@pytest.mark.parametrize("hold", [0.0, 1.5])
@pytest.mark.parametrize("air", [0.3, 0.7])
def test_one_jump_made_as_the_instructions_say_is_a_jump(rate: float, hold: float, air: float) -> None:
    """The nose lifted and held is no bounce, nor is what looks calm in a rough ride."""
    for seed in range(4):
        time, force, rotation = flight(rate=rate, air=air, jumps=1, hold=hold, seed=seed)
        header = ["time (s)", *names("acc", "m/s2"), *names("gyro", "rad/s")]
        text = table(header, [time, *force.T, *rotation.T], [".5f", *[".4f"] * 6])

        assert isinstance(read(text).record, FlightRecord)


def test_a_phone_that_falls_during_a_bounce() -> None:
    force = FORCE.copy()
    falling = (TIME > 22.0) & (TIME < 22.45)
    force[falling] = np.random.default_rng(1).normal(0, 0.1, (int(falling.sum()), 3))
    force[(TIME >= 22.45) & (TIME < 22.5)] *= 5.0
    text = phone_text(TIME, force)
    error = refused(text, "a bounce or a jump")
    assert "--kind bounce" in error.hint
    assert "free-fall" in codes(read(text, "bounce"))


def test_nothing_but_a_fall_and_nothing_at_all_are_refused() -> None:
    rng = np.random.default_rng(2)
    refused(phone_text(TIME, rng.normal(0, 0.05, FORCE.shape)), "fell all the time")
    refused(phone_text(TIME, np.array([0, 0, G]) + rng.normal(0, 0.02, FORCE.shape)), "must show a motion")
    rough = FORCE + 4.0 * np.sin(9.0 * TIME)[:, None] + rng.normal(0, 2, FORCE.shape)
    refused(phone_text(TIME, rough), "neither an airtime nor a bounce")


# several sensors in one file


def blanks(rate: int, digits: str = ".4f") -> str:
    """Accelerometer in every row but every third, a gyroscope in those."""
    rng = np.random.default_rng(3)
    turning = rng.normal(0, 0.01, FORCE.shape)
    force = FORCE.copy()
    mine = np.arange(TIME.size) % rate == 0
    force[mine], turning[~mine] = np.nan, np.nan
    header = ["time (s)", *names("acc", "m/s2"), *names("gyro", "rad/s")]
    return table(header, [TIME, *force.T, *turning.T], [".5f", *[digits] * 6])


@pytest.mark.parametrize("rate", [2, 3, 10])
def test_sensors_with_rates_of_their_own_and_blanks(rate: int) -> None:
    reading = read(blanks(rate))
    alike(reading)
    assert reading.record.quality.dropouts == 0
    assert any("not used" in d and "gyro" in d for d in reading.decided)


def test_rows_of_another_logger_are_no_loss_and_torn_rows_are() -> None:
    lines = ["time (s),ax (m/s2),ay (m/s2),az (m/s2),speed (m/s)"]
    for i, (t, f) in enumerate(zip(TIME, FORCE, strict=True)):
        lines.append(f"{t:.4f},{f[0]:.4f},{f[1]:.4f},{f[2]:.4f},")
        if i % 2:
            lines.append(f"{t + 0.001:.4f},,,,3.2")
    reading = read("\n".join(lines))
    alike(reading)
    assert reading.record.quality.dropouts == 0
    torn = FORCE.copy()
    torn[::3, 2] = np.nan
    refused(phone_text(TIME, torn), "in at least 80 %")


FLIGHT = flight()


def flight_text(
    force: np.ndarray = FLIGHT[1],
    rotation: np.ndarray = FLIGHT[2],
    unit: str = " (rad/s)",
    turned: np.ndarray = TILTED,
) -> str:
    header = ["time (s)", *names("acc", "m/s2"), *(f"gyro {a}{unit}" for a in AXES)]
    return table(header, [FLIGHT[0], *(force @ turned.T).T, *(rotation @ turned.T).T], [".4f"] * 7)


def long_form(accelerometer: str = "Accelerometer", gyroscope: str = "Gyroscope", scale: float = 1.0) -> str:
    time, force, rotation = FLIGHT
    rows = [
        (t, f"{accelerometer}\t{v[0]:.4f}\t{v[1]:.4f}\t{v[2]:.4f}")
        for t, v in zip(time, force @ TILTED.T, strict=True)
    ]
    rows += [
        (t + 0.0013, f"{gyroscope}\t{v[0]:.4f}\t{v[1]:.4f}\t{v[2]:.4f}")
        for t, v in zip(time[::2], scale * rotation[::2] @ TILTED.T, strict=True)
    ]
    rows += [(t + 0.0002, "Magnetometer\t31.0\t-4.0\t12.0") for t in time[::7]]
    lines = [f"{(t + 1.7e9) * 1e6:.0f}\t{row}" for t, row in sorted(rows)]
    return "\n".join(["time\tsensor\tx\ty\tz", *lines])


@pytest.mark.parametrize(
    ("accelerometer", "gyroscope", "scale"),
    [
        ("Accelerometer", "Gyroscope", 1.0),
        ("ACC", "gyro", 180 / math.pi),
        ("accelerometer (m/s2)", "gyroscope (deg/s)", 180 / math.pi),
        ("Beschleunigungssensor", "Gyroskop", 1.0),
        ("TYPE_ACCELEROMETER", "TYPE_GYROSCOPE", 1.0),
    ],
)
def test_one_row_per_sample_and_sensor(accelerometer: str, gyroscope: str, scale: float) -> None:
    """Both sensors stay on one clock: the pitch rate during the airtimes is the one that was put in."""
    record = read(long_form(accelerometer, gyroscope, scale)).record
    assert isinstance(record, FlightRecord)
    assert record.rotation is not None
    assert record.time[0] == pytest.approx(0.0013, abs=0.006)
    rates = [j.pitch_rate for j in fit_flight(record).jumps]
    assert len(rates) == 2
    assert all(r is not None and r.value == pytest.approx(-1.2, abs=0.02) for r in rates)


def test_long_form_needs_an_accelerometer_and_each_sensor_once() -> None:
    refused(long_form("Barometer"), "needs rows of an accelerometer")
    refused(long_form("Accelerometer", "accelerometer two"), "must hold each sensor once")


# jumps


def test_a_jump_is_told_by_its_airtimes_and_measured() -> None:
    for turned in (turn(0, 0, 0), TILTED, turn(180, 20, 10)):
        reading = read(flight_text(turned=turned))
        record = reading.record
        assert isinstance(record, FlightRecord)
        assert any("2 airtimes" in d for d in reading.decided)
        fit = fit_flight(record)
        assert fit.airtime.value == pytest.approx(0.6, abs=0.02)
        assert fit.pitch_rate.value == pytest.approx(-1.2, abs=0.02)


def test_units_of_rotation_that_are_not_named_are_told_by_gravity() -> None:
    for rotation, unit in ((FLIGHT[2], "rad/s"), (np.degrees(FLIGHT[2]), "deg/s")):
        reading = read(flight_text(rotation=rotation, unit=""))
        assert any(f"the rotation is in {unit}" in d for d in reading.decided)
        record = reading.record
        assert isinstance(record, FlightRecord)
        assert record.rotation is not None
        np.testing.assert_allclose(record.rotation, FLIGHT[2] @ TILTED.T, atol=2e-3)
    _, force, rotation = flight(gesture=0.0)
    error = refused(flight_text(force, rotation, unit=""), "must name the unit of its rotation rates")
    assert "--unit rotation_x" in error.hint


def test_a_wrong_unit_of_rotation_is_refused() -> None:
    refused(flight_text(rotation=np.degrees(FLIGHT[2])), "must have rotation rates that turn gravity")
    refused(flight_text(unit=" (deg/s)"), "must have rotation rates that turn gravity")


@pytest.mark.parametrize(("said", "axis"), [("+x", (1, 0, 0)), ("-y", (0, -1, 0)), ("z", (0, 0, 1))])
def test_the_axis_that_lifts_the_nose_is_passed_on(said: str, axis: tuple[float, ...]) -> None:
    record = read(flight_text(), nose_up_axis=said).record
    assert isinstance(record, FlightRecord)
    assert record.nose_up_axis == axis


def test_a_jump_needs_gravity_in_its_accelerations() -> None:
    without = FLIGHT[1] - [0, 0, G]
    error = refused(flight_text(without), "gravity was taken out", "flight")
    assert "plain accelerometer" in error.hint
    time, gravity = FLIGHT[0], np.tile([0, 0, G], (FLIGHT[0].size, 1))
    header = ["time (s)", *names("linear acceleration", "m/s2"), *names("gravity", "m/s2")]
    record = read(table(header, [time, *without.T, *gravity.T], [".4f"] * 7)).record
    assert isinstance(record, FlightRecord)
    np.testing.assert_allclose(record.acceleration, FLIGHT[1], atol=1e-3)


def test_a_bounce_called_a_jump_and_a_jump_called_a_bounce_are_refused() -> None:
    assert "--kind bounce" in refused(phone_text(TIME, FORCE), "must hold a jump", "flight").hint
    assert "--kind flight" in refused(flight_text(), "must ring down between rests", "bounce").hint


@pytest.mark.parametrize("name", ["fall_3", "fall_11", "up_and_down_4", "up_and_down_9"])
def test_real_phones_that_were_dropped_or_thrown(name: str) -> None:
    """They read as flights without a word from the user, at the rate of their samples, and the airtime is found."""
    reading = read_file(REAL / f"{name}.csv")
    record = reading.record
    assert isinstance(record, FlightRecord)
    assert record.provenance.rate_hz == pytest.approx((record.time.size - 1) / np.ptp(record.time), rel=1e-3)
    assert 0.4 < fit_flight(record).jumps[0].airtime.value < 1.2


# travel sensors


def sensor_text(
    name: str = "travel (mm)", scale: float = 1e3, offset: float = 0.0, digits: str = ".3f"
) -> str:
    time, travel = DRIVE
    return table(["time (s)", name], [time, offset + scale * travel], [".4f", digits])


DRIVE = driving()


def same_travel(reading: Reading, within: float = 2e-5) -> None:
    assert isinstance(reading.record, TravelRecord)
    np.testing.assert_allclose(reading.record.travel, DRIVE[1], atol=within)


@pytest.mark.parametrize(
    ("name", "scale", "digits"),
    [
        ("travel (mm)", 1e3, ".3f"),
        ("rear shock travel [in]", 1 / 0.0254, ".5f"),
        ("Federweg / mm", 1e3, ".3f"),
        ("enfoncement (cm)", 1e2, ".4f"),
        ("travel_m", 1.0, ".6f"),
        ("compression (mm)", 1e3, ".3f"),
    ],
)
def test_travel_in_units_of_length(name: str, scale: float, digits: str) -> None:
    same_travel(read(sensor_text(name, scale, digits=digits)))


@pytest.mark.parametrize(
    ("name", "scale", "offset", "digits", "calibration", "within"),
    [
        ("pot (V)", 20.0, 0.5, ".5f", "0.50 V = 0 mm, 2.50 V = 100 mm", 2e-5),
        ("rear pot (mV)", 20e3, 500.0, ".2f", "0,50 V = 0 mm; 2,50 V = 100 mm", 2e-5),
        ("travel (V)", -20.0, 4.6, ".5f", "4.6 V = 0 mm and 2.6 V = 100 mm", 2e-5),
        ("adc counts", 8190.0, 102.0, ".0f", "102 = 0 mm, 921 = 100 mm", 1e-4),
        ("counts", 8190.0, 102.0, ".0f", "102 counts = 0 in, 1142.13 counts = 5 in", 1e-4),
        ("travel", 20.0, 0.5, ".5f", "0.5 V = 0 mm, 2.5 V = 100 mm", 2e-5),
    ],
)
def test_two_points_calibrate_volts_and_counts(
    name: str, scale: float, offset: float, digits: str, calibration: str, within: float
) -> None:
    text = sensor_text(name, scale, offset, digits)
    same_travel(read(text, "travel", calibration=calibration), within)
    same_travel(read(f"# calibration: {calibration}\n{text}", "travel"), within)
    if name != "travel":
        assert "--set calibration=" in refused(text, "needs a calibration", "travel").hint


@pytest.mark.parametrize(
    "calibration",
    ["0.5 V = 0 mm", "0.5 V = 0 mm, 0.5 V = 100 mm", "0.5 V = 0 mm, 2.5 V = 0 mm", "0.5 V = 0 kg, 2 V = 1 kg", "yes",
     "0.5 V = 0 mm, 900 = 100 mm", "0.5 V = 0 mm, 2 V = 80 mm, 4 V = 160 mm"],
)  # fmt: skip
def test_calibrations_that_are_none_are_refused(calibration: str) -> None:
    with pytest.raises(UsageError, match="calibration"):
        read(sensor_text("pot (V)", 20.0, 0.5), "travel", calibration=calibration)


def test_volts_and_counts_are_not_mixed() -> None:
    with pytest.raises(InputRefused, match="holds counts"):
        read(
            sensor_text("adc counts", 8190, 102, ".0f"), "travel", calibration="0.5 V = 0 mm, 2.5 V = 100 mm"
        )
    with pytest.raises(InputRefused, match="is in V"):
        read(sensor_text("pot (V)", 20.0, 0.5), "travel", calibration="102 = 0 mm, 921 = 100 mm")


def test_which_way_is_compression_is_said_or_asked() -> None:
    upward = sensor_text("position (mm)")
    refused(upward, "must say which way is compression")
    same_travel(read(upward, positive_travel="compression"))
    same_travel(read("# position, + compression\n" + upward))
    visible = sensor_text("position (mm)", -1e3, 210.0)
    same_travel(read(visible, positive_travel="rebound", extended_reading="210 mm"))
    same_travel(read("# zero at full extension\n" + upward))
    refused(
        "# position: positive = extension\n# position: compression positive\n" + upward,
        "contradict each other",
    )


def test_a_zero_that_is_elsewhere_is_noted_and_can_be_set() -> None:
    sagged = sensor_text("travel (mm)", 1e3, -90.0)
    reading = read(sagged)
    assert "zero-unknown" in codes(reading)
    same_travel(read(sagged, static_travel="90 mm"), 1e-4)


def test_several_sensors_must_be_chosen_from() -> None:
    time, travel = DRIVE
    header = ["time (s)", "front left travel (mm)", "rear left travel (mm)"]
    text = table(header, [time, 0.5e3 * travel, 1e3 * travel], [".4f", ".3f", ".3f"])
    assert "--column travel" in refused(text, "'front left travel .mm.' or 'rear left travel .mm.'").hint
    same_travel(read(text, columns={"travel": "rear left travel (mm)"}))


def test_a_span_that_no_shaft_has_is_refused() -> None:
    refused(sensor_text("travel (m)"), "must have a travel that spans")
    refused(sensor_text("travel (mm)", 1.0, digits=".6f"), "must have a travel that spans")


def test_slow_loggers() -> None:
    time, travel = driving(rate=20.0)
    refused(table(["time (s)", "travel (mm)"], [time, 1e3 * travel], [".3f", ".2f"]), "25 samples a second")
    time, travel = driving(rate=50.0)
    assert "slow-sampling" in codes(
        read(table(["time (s)", "travel (mm)"], [time, 1e3 * travel], [".3f", ".2f"]))
    )


def test_a_sensor_at_its_stop_is_noted() -> None:
    time, travel = DRIVE
    stopped = np.minimum(travel, 0.115)
    quality = read(table(["time (s)", "travel (mm)"], [time, 1e3 * stopped], [".4f", ".2f"])).record.quality
    assert quality.clipped_share == pytest.approx(float(np.mean(travel > 0.115)), rel=0.1)
    assert "at-limit" in {n.code for n in quality.notes}


def test_drives_and_shaft_bounces_are_told_apart_or_asked_about() -> None:
    time, travel = shaft_bounces()
    text = table(["time (s)", "travel (mm)"], [time, 1e3 * travel], [".4f", ".3f"])
    record = read(text).record
    assert isinstance(record, BounceRecord)
    assert record.quantity == "travel"
    np.testing.assert_allclose(record.signal, travel, atol=1e-6)
    assert len(find_bounces(record.time, record.signal, "travel").used) == 3
    assert kind_of(read(text, "travel").record) == "travel"
    time, travel = driving(duration=19.0)
    between = table(["time (s)", "travel (mm)"], [time, 1e3 * travel], [".4f", ".3f"])
    assert "--kind bounce or --kind travel" in refused(between, "a bounce or a drive").hint
    assert kind_of(read(between, "bounce").record) == "bounce"
    accelerations = table(
        ["time (s)", *names("acc", "m/s2"), "travel (mm)"], [TIME, *FORCE.T, 90 + SIGNAL], [".4f"] * 5
    )
    refused(accelerations, "a bounce or a drive")
    alike(read(accelerations, "bounce"))


def test_a_long_drive_is_looked_at_thinly_and_read_whole() -> None:
    time, travel = driving(duration=2100.0)
    rows = (f"{t:.3f},{x:.2f}" for t, x in zip(time.tolist(), (1e3 * travel).tolist(), strict=True))
    text = "time (s),travel (mm)\n" + "\n".join(rows)
    record = read(text).record
    assert isinstance(record, TravelRecord)
    np.testing.assert_allclose(record.travel, travel, atol=1e-5)
    assert record.provenance.rate_hz == pytest.approx(200.0)


# doors


def test_values_from_python() -> None:
    alike(read_values({"time": TIME, **{f"acceleration_{a}": FORCE[:, i] for i, a in enumerate(AXES)}}))
    same_travel(read_values({"time": DRIVE[0], "travel": DRIVE[1]}))


def test_a_preview_says_the_kind_that_the_content_shows() -> None:
    for text, kind in (
        (phone_text(TIME, FORCE), "bounce"),
        (flight_text(), "flight"),
        (sensor_text(), "travel"),
        (long_form(), "flight"),
    ):
        seen = preview(text.encode(), "phone.csv")
        assert seen.problem is None
        assert seen.kind == kind
        assert seen.columns[0].role == "time"
    open_end = preview(phone_text(TIME, LINEAR).encode(), "phone.csv")
    assert open_end.problem is not None
    assert "either end can be up" in open_end.problem.message


def test_time_made_from_a_rate() -> None:
    even, signal = ringing()
    text = phone_text(even, felt(signal, TILTED)).splitlines()
    bare = "\n".join(line.split(",", 1)[1] for line in text)
    alike(read(bare, rate="200 Hz"), even, signal)


def test_rests_end_where_the_mean_jumps() -> None:
    time = np.arange(0, 6, 0.01)
    values = np.where(time < 3.0, 0.0, 1.0)
    first, second = find_rests(time, values, 0.5)
    assert first.end == pytest.approx(3.0, abs=0.02)
    assert second.start == pytest.approx(3.0, abs=0.02)
    assert (first.mean[0], second.mean[0]) == pytest.approx((0.0, 1.0))
    assert find_rests(time, np.sin(6.0 * time), 0.5) == ()
    with_gap = np.concatenate([time[time < 2], time[time > 3]])
    assert len(find_rests(with_gap, np.zeros(with_gap.size), 0.5)) == 2
