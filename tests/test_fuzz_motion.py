"""Damaged phone and sensor files, seeded: read or refused with one sentence, and no digit without effect."""

from __future__ import annotations

import gzip
import random

import numpy as np
import pytest
from motion_texts import Array, driving, felt, flight, phone_text, ringing, table, turn
from test_fuzz_reading import damaged, digits_changed, fingerprint, read_or_refused

from tuner.reading import ReadOptions, preview, read_bytes
from tuner.records import TravelRecord

TILTED = turn(20, -35, 60)


def phone() -> str:
    time, signal = ringing(duration=6.0, rate=40.0, releases=(3.0,))
    return phone_text(time, felt(signal, TILTED), digits=".3f", time_digits=".3f")


def german_phone() -> str:
    time, signal = ringing(duration=6.0, rate=40.0, releases=(3.0,), lift=(0,))
    header = ("Zeit [ms]", "Beschleunigung X [g]", "Beschleunigung Y [g]", "Beschleunigung Z [g]")
    return phone_text(
        time,
        felt(signal, turn(180, 10, 0)),
        header=header,
        scale=9.80665,
        clock=lambda t: t * 1e3,
        time_digits=".1f",
        delimiter=";",
        decimal=",",
        before=["Handy auf der Hinterachse"],
    )


def jump() -> tuple[Array, Array, Array]:
    time, force, rotation = flight(rate=45.0, jumps=1)
    late = time > 6.5
    return time[late], force[late], rotation[late]


def wide_jump() -> str:
    time, force, rotation = jump()
    header = ["time (s)", "acc x (m/s2)", "acc y (m/s2)", "acc z (m/s2)"]
    header += ["gyro x (rad/s)", "gyro y (rad/s)", "gyro z (rad/s)"]
    return table(header, [time, *force.T, *rotation.T], [".3f"] * 7)


def long_jump() -> str:
    time, force, rotation = jump()
    rows = [(t, "accelerometer", f) for t, f in zip(time, force, strict=True)]
    rows += [(t + 0.004, "gyroscope (rad/s)", w) for t, w in zip(time[::2], rotation[::2], strict=True)]
    rows.sort(key=lambda row: row[0])
    lines = [f"{t * 1e6:.0f}\t{name}\t" + "\t".join(f"{v:.3f}" for v in values) for t, name, values in rows]
    return "\n".join(["time_us\tsensor\tx\ty\tz", *lines]) + "\n"


def shaft() -> str:
    time, travel = driving(duration=22.5, rate=26.0)
    return table(["time (s)", "travel (mm)"], [time, 1e3 * travel], [".3f", ".2f"])


def shaft_volts() -> str:
    time, travel = driving(duration=22.5, rate=26.0)
    title = ["# calibration: 0.50 V = 0 mm, 2.50 V = 100 mm"]
    return table(
        ["time;ms", "rear pot;V"], [1e3 * time, 0.5 + 20 * travel], [".1f", ".4f"], before=title
    ).replace("time;ms,rear pot;V", "time,rear pot\nms,V")


BASES = {
    "phone": phone(),
    "German phone": german_phone(),
    "jump": wide_jump(),
    "jump, long form": long_jump(),
    "drive": shaft(),
    "drive, volts": shaft_volts(),
}


@pytest.mark.parametrize("name", list(BASES))
def test_a_changed_digit_changes_the_record_or_is_refused(name: str) -> None:
    dice = random.Random(f"{name} digits")
    before = fingerprint(read_bytes(BASES[name].encode(), "mutant.csv").record)
    for mutant, line in digits_changed(BASES[name], dice, 60):
        record = read_or_refused(mutant.encode())
        assert record is None or fingerprint(record) != before, line


@pytest.mark.parametrize("name", list(BASES))
@pytest.mark.parametrize("seed", [1, 2])
def test_damaged_files_are_read_or_refused(name: str, seed: int) -> None:
    dice = random.Random(f"{seed} {name} damage")
    for _ in range(70):
        mutant = BASES[name]
        for _ in range(dice.choice([1, 1, 1, 2, 3])):
            mutant = damaged(mutant or "x", dice)
        read_or_refused(mutant.encode())


def test_bytes_of_any_value_are_read_or_refused() -> None:
    dice = random.Random(3)
    for data in (BASES["phone"].encode("utf-16"), gzip.compress(BASES["jump, long form"].encode())):
        for _ in range(15):
            mutant = bytearray(data)
            mutant[dice.randrange(len(mutant))] = dice.randrange(256)
            read_or_refused(bytes(mutant))
            assert preview(bytes(mutant), "mutant.csv", ReadOptions(), rows=2) is not None


def test_words_of_the_header_changed_at_random() -> None:
    """Columns renamed, swapped, doubled or without a unit: a record, or one sentence."""
    dice = random.Random(4)
    words = [
        "time (s)",
        "t",
        "ax (g)",
        "ay",
        "z (m/s2)",
        "gyro x",
        "travel (mm)",
        "sensor",
        "qw",
        "gravity x (m/s2)",
    ]
    for name in ("phone", "jump", "drive"):
        first, rest = BASES[name].split("\n", 1)
        for _ in range(25):
            cells = first.split(",")
            cells[dice.randrange(len(cells))] = dice.choice([*words, *cells, ""])
            dice.shuffle(cells)
            read_or_refused((",".join(cells) + "\n" + rest).encode())


def test_damaged_drives_hold_only_rows_of_their_text() -> None:
    """An independent reading of the same text finds the same rows in the same order."""
    dice = random.Random(5)
    compared = 0
    for _ in range(100):
        mutant = damaged(BASES["drive"], dice)
        record = read_or_refused(mutant.encode())
        if record is None or {n.code for n in record.quality.notes} & {"equal-times", "out-of-order"}:
            continue
        assert isinstance(record, TravelRecord)
        rows = []
        for line in mutant.split("\n"):
            try:
                rows.append([float(c.strip().strip('"')) for c in line.rstrip(",").split(",")])
            except ValueError:
                continue
        plain = np.array([r for r in rows if len(r) == 2])
        found = np.column_stack((record.time, 1e3 * record.travel))
        np.testing.assert_allclose(found, plain, rtol=1e-9, atol=1e-9)
        compared += 1
    assert compared > 25
