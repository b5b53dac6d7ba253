"""Thousands of damaged files, seeded: each is read or refused with one sentence, and none gives a silent wrong answer.

What counts as wrong: a digit of the data was changed and the record is the same as before; or a record holds a row
that an independent reading of the same text (split and float, nothing else) does not find.
"""

from __future__ import annotations

import gzip
import random
import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from tests.reading_texts import SWEEP, bench, cycle_text
from tuner.errors import InputRefused
from tuner.reading import ReadOptions, preview, read_bytes
from tuner.records import (
    BounceRecord,
    CycleRecord,
    FlightRecord,
    Record,
    SweepRecord,
    TravelRecord,
    WeightsRecord,
)
from tuner.wording.doubts import note_text

TWO = (bench(0.13, cycles=2, samples=40), bench(0.52, cycles=2, samples=40))
WIDE = ["Speed (m/s),Compression (N),Rebound (N)"]
WIDE += [",".join(map(str, cells)) for cells in zip(*SWEEP.values(), strict=True)]
LONG = ["Richtung;Geschwindigkeit / mm/s;Kraft / N"]
for _word, _side in (("Druck", "compression"), ("Zug", "rebound")):
    for _v, _f in zip(SWEEP["speed"], SWEEP[_side], strict=True):
        LONG.append(f"{_word};{1e3 * _v:.1f};{abs(_f):.2f}".replace(".", ","))
WEIGHTS = """direction,mass (kg),distance (mm),time (s)
compression,10.5,100,1.84
compression,20,100,0.91
rebound,12,100,4.1
rebound,24.25,100,1.95
push,12.3,,
return,9.1,,
"""
BASES = {
    "cycle": cycle_text(TWO, between=[""]),
    "cycle, German, headers again": cycle_text(
        TWO,
        header=("Zeit (s)", "Weg (mm)", "Kraft (N)"),
        between=["", "Test zwei", "Zeit (s);Weg (mm);Kraft (N)"],
        delimiter=";",
        decimal=",",
    ),
    "cycle with velocity and a row of units": cycle_text(
        TWO[:1],
        header=("Time", "Travel", "Force", "Velocity"),
        units=("s", "mm", "N", "m/s"),
        digits=(5, 3, 2, 4),
        velocity=True,
        delimiter="\t",
        before=["Bench of Shed nine"],
    ).replace("Velocity\n", "Velocity\ns\tmm\tN\tm/s\n"),
    "cycle, aligned": "time_s  travel_mm  force_N\n"
    + "\n".join(
        "  ".join(f"{c:>9}" for c in line.split(",")) for line in cycle_text(TWO[:1]).splitlines()[1:]
    ),
    "sweep, wide": "\n".join(WIDE) + "\n",
    "sweep, long": "\n".join(LONG) + "\n",
    "weights": WEIGHTS,
}
SIGNS = "0123456789.,;eE-+ \t\"#x%\n/|'\0é"


def fingerprint(record: Record) -> bytes:
    """All numbers of a record."""
    if isinstance(record, CycleRecord):
        arrays = [a for t in record.tests for a in (t.time, t.travel, t.force, t.velocity) if a is not None]
    elif isinstance(record, SweepRecord):
        arrays = [record.velocity, record.force]
    elif isinstance(record, BounceRecord):
        arrays = [record.time, record.signal]
    elif isinstance(record, TravelRecord):
        arrays = [record.time, record.travel]
    elif isinstance(record, FlightRecord):
        arrays = [record.time, record.acceleration.ravel()]
        arrays += [] if record.rotation is None else [record.rotation.ravel()]
    else:
        assert isinstance(record, WeightsRecord)
        arrays = [record.mass, record.distance, record.duration, record.direction]
        arrays += [record.push_force, record.return_force]
    assert all(np.isfinite(a).all() for a in arrays)
    return b"|".join(a.tobytes() for a in arrays)


def damaged(text: str, dice: random.Random) -> str:
    """Damage a text in one of many ways."""
    i = dice.randrange(len(text))
    lines = text.split("\n")
    j, k = dice.randrange(len(lines)), dice.randrange(len(lines))
    match dice.randrange(11):
        case 0:
            return text[:i] + text[i + 1 :]
        case 1:
            return text[:i] + text[i] + text[i:]
        case 2:
            return text[:i] + dice.choice(SIGNS) + text[i + 1 :]
        case 3:
            return text[:i] + dice.choice(SIGNS) + text[i:]
        case 4:
            return text[:i]
        case 5:
            return "\n".join(lines[:j] + lines[j + 1 :])
        case 6:
            return "\n".join([*lines[:j], lines[j], *lines[j:]])
        case 7:
            lines[j], lines[k] = lines[k], lines[j]
            return "\n".join(lines)
        case 8:
            return text[:i] + text[i + dice.randrange(1, 300) :]
        case 9:
            return text[:i] + text[max(0, i - dice.randrange(1, 100)) :]
    return text.replace(
        dice.choice(".,;\t() \n"),
        dice.choice([".", ",", ";", "\t", " ", "", "\n\n"]),
        dice.choice([1, 2, -1]),
    )


def read_or_refused(data: bytes) -> Record | None:
    """Read it; a refusal must be one sentence."""
    try:
        return read_bytes(data, "mutant.csv").record
    except InputRefused as error:
        refusal = error
    assert refusal.message
    assert "\n" not in refusal.message + refusal.hint
    assert len(refusal.message) < 500
    return None


def data_places(text: str) -> list[int]:
    """Places of all digits in rows of data: lines with at least two cells that are numbers."""
    places, at = [], 0
    for line in text.split("\n"):
        cells = re.split(r"[;\t]", line) if re.search(r"[;\t]", line) else re.split(r",|\s\s+", line)
        if sum(re.fullmatch(r"\s*-?[0-9]+([.,:][0-9]+)*\s*", c) is not None for c in cells) >= 2:
            places += [at + m.start() for m in re.finditer("[0-9]", line)]
        at += len(line) + 1
    return places


def digits_changed(text: str, dice: random.Random, count: int) -> Iterator[tuple[str, str]]:
    """Change one digit of the data: (text, the line that was changed)."""
    places = data_places(text)
    for _ in range(count):
        i = dice.choice(places)
        digit = dice.choice([d for d in "0123456789" if d != text[i]])
        mutant = text[:i] + digit + text[i + 1 :]
        start = mutant.rfind("\n", 0, i) + 1
        yield mutant, mutant[start : mutant.find("\n", i)]


@pytest.mark.parametrize("name", list(BASES))
@pytest.mark.parametrize("seed", [1, 2])
def test_a_changed_digit_changes_the_record_or_is_refused(name: str, seed: int) -> None:
    """No digit of the data is without effect."""
    dice = random.Random(f"{seed} {name}")
    before = fingerprint(read_bytes(BASES[name].encode(), "mutant.csv").record)
    for mutant, line in digits_changed(BASES[name], dice, 100):
        record = read_or_refused(mutant.encode())
        assert record is None or fingerprint(record) != before, line


@pytest.mark.parametrize("name", list(BASES))
@pytest.mark.parametrize("seed", [1, 2])
def test_damaged_files_are_read_or_refused(name: str, seed: int) -> None:
    """Never another exception, whatever happens to the text."""
    dice = random.Random(f"{seed} {name} damage")
    for _ in range(150):
        mutant = BASES[name]
        for _ in range(dice.choice([1, 1, 1, 2, 3])):
            mutant = damaged(mutant or "x", dice)
        read_or_refused(mutant.encode())


def plain_rows(text: str, delimiter: str) -> np.ndarray:
    """Read rows of three numbers by split and float alone."""
    rows = []
    for line in text.split("\n"):
        cells = line.rstrip(delimiter).split(delimiter)
        try:
            rows.append([float(c.strip().strip('"')) for c in cells])
        except ValueError:
            continue
    return np.array([r for r in rows if len(r) == 3])


def test_damaged_cycles_hold_only_rows_of_their_text() -> None:
    """An independent reading of the same text finds the same rows in the same order."""
    dice = random.Random(7)
    text = BASES["cycle"]
    compared = 0
    for _ in range(400):
        mutant = damaged(text, dice)
        record = read_or_refused(mutant.encode())
        if record is None or record.quality.duplicates:
            continue
        assert isinstance(record, CycleRecord)
        plain = max((plain_rows(mutant, d) for d in ",;\t "), key=len)
        found = np.concatenate([np.column_stack((t.time, 1e3 * t.travel, t.force)) for t in record.tests])
        spikes = [note_text(note) for note in record.quality.notes if note.code == "spikes"]
        if spikes:  # what was left out is said, and is all that is missing
            assert len(plain) - len(found) == int(spikes[0].split()[0])
            rows, kept = iter(plain), []
            for row in found:
                kept.append(next(other for other in rows if np.allclose(row, other, rtol=1e-9, atol=1e-9)))
            plain = np.array(kept)
        np.testing.assert_allclose(found, plain, rtol=1e-9, atol=1e-9)
        compared += 1
    assert compared > 100


def test_bytes_of_any_value_are_read_or_refused() -> None:
    """Bytes changed at random, packed and unpacked."""
    dice = random.Random(11)
    plain = BASES["cycle"].encode()
    for data in (
        plain,
        gzip.compress(plain),
        BASES["cycle"].encode("utf-16"),
        BASES["sweep, long"].encode("latin-1"),
    ):
        for _ in range(60):
            mutant = bytearray(data)
            for _ in range(dice.choice([1, 1, 5])):
                mutant[dice.randrange(len(mutant))] = dice.randrange(256)
            read_or_refused(bytes(mutant))
            assert preview(bytes(mutant), "mutant.csv", ReadOptions(), rows=2) is not None


SAMPLES = sorted(Path(__file__).resolve().parents[1].joinpath("sample_data").glob("*.csv*"))


def sample_text(path: Path) -> tuple[str, str]:
    """Give a sample as text, and its encoding."""
    data = path.read_bytes()
    if path.suffix == ".gz":
        data = gzip.decompress(data)
    for encoding in ("utf-16", "utf-8-sig", "latin-1"):
        if encoding == "utf-16" and data[:2] not in (b"\xff\xfe", b"\xfe\xff"):
            continue
        try:
            return data.decode(encoding), encoding
        except UnicodeDecodeError:
            continue
    raise AssertionError(path)


@pytest.mark.parametrize("path", SAMPLES, ids=lambda p: p.name)
def test_damaged_samples(path: Path) -> None:
    """Every sample: digits changed, and damage of any kind."""
    dice = random.Random(path.name)
    text, encoding = sample_text(path)
    motion = path.name.startswith(("bounce", "drive", "jump"))
    count = 150 if len(text) < 10_000 else 4 if motion else 12
    before = fingerprint(read_bytes(path.read_bytes(), path.name).record)
    for mutant, line in digits_changed(text, dice, count):
        record = read_or_refused(mutant.encode(encoding))
        unused = motion and ";;;;" in line  # a row of a sensor that a bounce does not need
        assert record is None or unused or fingerprint(record) != before, line
    for _ in range(count):
        read_or_refused(damaged(text, dice).encode(encoding, "replace"))


@pytest.mark.parametrize("name", list(BASES))
def test_both_ways_of_reading_rows_agree_on_damaged_files(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Large files take another way through the rows: it must read and refuse the same."""
    dice = random.Random(f"{name} both ways")
    for _ in range(60):
        mutant = damaged(BASES[name], dice).encode()
        slow = read_or_refused(mutant)
        with monkeypatch.context() as change:
            change.setattr("tuner.reading.text.sheet.PATIENT", 0)
            change.setattr("tuner.reading.text.sheet.SHORTEST_RUN", 200)
            fast = read_or_refused(mutant)
        assert (slow is None) == (fast is None), mutant
        assert slow is None or fast is None or fingerprint(slow) == fingerprint(fast), mutant
