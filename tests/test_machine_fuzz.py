"""Broken machine files: whatever is done to one, it is read or refused with one sentence, never anything else."""

import math

import numpy as np
import pytest

from tests.test_machine_file import FULL, numbers
from tuner.errors import InputRefused, MachineError, UnitError
from tuner.machine import read_machine, write_machine

PIECES = [
    "=",
    '"',
    "'",
    "[",
    "]",
    "{",
    "}",
    ",",
    ".",
    "#",
    "\n",
    "\x00",
    "\x7f",
    "é",
    "−",
    "+-",
    "±",
    "%",
    "nan",
    "inf",
    "-",
    "1e400",
    "1e-400",
    "9" * 30,
    "0",
    "kg",
    " N/mm",
    "lbf/in",
    "m/s**2",
    "**99",
    "kg**kg",
    "degC",
    "dB",
    "ΔK",
    "true",
    "2020-13-45",
    '"""',
    "corners",
    "[corners.rear]",
    "[[corners]]",
    "motion_ratio = 0.7",
    "springs = [[]]",
    "[target]\n",
    "(",
    ")",
    "/0",
    "^",
    "\\",
    "\\u0000",
    "\\ud800",
    "_",
    "0x1F",
    "1_000",
]


def mutant(text: str, rng: np.random.Generator) -> str:
    for _ in range(rng.integers(1, 3)):
        at = int(rng.integers(len(text) + 1))
        until = min(len(text), at + int(rng.integers(1, 12)))
        kind = rng.integers(10)
        lines = text.split("\n")
        row = int(rng.integers(len(lines)))
        piece = str(rng.choice(PIECES))
        if kind == 0:
            text = text[:at] + piece + text[at:]
        elif kind == 1:
            text = text[:at] + text[until:]
        elif kind == 2:
            text = text[:at] + piece + text[until:]
        elif kind == 3:
            text = "\n".join([*lines[:row], *lines[row + 1 :]])
        elif kind == 4:
            text = "\n".join([*lines[:row], lines[row], *lines[row:]])
        elif kind == 5:
            key = lines[row].split("=")[0]
            text = "\n".join([*lines[:row], f"{key}= {piece}", *lines[row + 1 :]])
        elif kind == 6:
            text = text[:at]
        else:
            digits = [i for i, letter in enumerate(text) if letter.isdigit()]
            at = int(rng.choice(digits)) if digits else at
            text = text[:at] + str(rng.integers(10)) + text[at + 1 :]
    return text


def read_or_refuse(data):
    try:
        return read_machine(data, "hopper.toml")
    except (MachineError, UnitError) as refusal:
        return refusal


def outcome(data) -> str:
    machine = read_or_refuse(data)
    if isinstance(machine, InputRefused):
        assert machine.message.startswith("hopper.toml")
        assert len(machine.message) < 500
        assert machine.message.isprintable()
        return "refused"
    found = numbers(machine)
    assert all(math.isfinite(n) for n in found)
    # what was read is written and read again as the same
    again = read_machine(write_machine(machine))
    assert numbers(again) == pytest.approx(found, rel=1e-9, abs=1e-12)
    return "read"


def test_mutants_of_the_text():
    rng = np.random.default_rng(2024)
    outcomes = [outcome(mutant(FULL, rng)) for _ in range(600)]
    # both really happen, so neither branch is idle
    assert outcomes.count("refused") > 200
    assert outcomes.count("read") > 100


def test_mutants_of_the_bytes():
    rng = np.random.default_rng(2025)
    for _ in range(300):
        data = bytearray(FULL.encode())
        for _ in range(rng.integers(1, 6)):
            data[rng.integers(len(data))] = rng.integers(256)
        outcome(bytes(data))
    for _ in range(50):
        assert outcome(rng.integers(0, 256, rng.integers(0, 200)).astype(np.uint8).tobytes()) == "refused"


@pytest.mark.parametrize("digits", ["spring_rate", "sprung_mass", "motion_ratio = 0", "tyre_rate"])
def test_a_changed_number_is_seen(digits):
    # a mutant that changes a number must change the machine or be refused
    before = numbers(read_machine(FULL))
    line = next(line for line in FULL.split("\n") if line.startswith(digits))
    for new in "123456789":
        for at in (i for i, letter in enumerate(line) if letter.isdigit() and letter != new):
            changed = FULL.replace(line, line[:at] + new + line[at + 1 :], 1)
            after = read_or_refuse(changed)
            assert isinstance(after, InputRefused) or numbers(after) != before, (line, at, new)
