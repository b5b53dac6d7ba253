"""The sample files: made by their script, read as what they are, and saying what their truth says."""

from __future__ import annotations

import gzip
import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sample_data.make_samples import sample_files
from tuner.comparing import compare, match
from tuner.fitting import fit
from tuner.fitting.results import DampingFit
from tuner.kinds import kind_of
from tuner.machine import read_machine
from tuner.reading import Reading, read_file
from tuner.records import CycleRecord, SweepRecord, WeightsRecord

FOLDER = Path(__file__).resolve().parents[1] / "sample_data"
KINDS = {
    "rear_left_before_run1.csv": "cycle",
    "rear_left_before_run2.csv": "cycle",
    "rear_left_after_draining_run1.csv": "cycle",
    "rear_left_after_draining_run2.csv": "cycle",
    "pair_rear_left.csv": "cycle",
    "pair_rear_right.csv.gz": "cycle",
    "front_left_thick_oil.csv": "sweep",
    "front_left_thin_oil.csv": "sweep",
    "front_left_hung_weights.csv": "weights",
}
POINT, COMMA = re.compile(r"-?\d+(?:\.\d+)?"), re.compile(r"-?\d+(?:,\d+)?")


def _text(data: bytes) -> str:
    if data[:2] == b"\x1f\x8b":
        data = gzip.decompress(data)
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def _last_place(number: str) -> float:
    places = re.split("[.,]", number)
    return float(f"1e-{len(places[1]) if len(places) > 1 else 0}")


@pytest.fixture(scope="module")
def made() -> dict[str, bytes]:
    return sample_files()


@pytest.fixture(scope="module")
def truth() -> dict[str, Any]:
    table = json.loads((FOLDER / "truth.json").read_text(encoding="utf-8"))
    settings: dict[str, Any] = table["settings"]
    assert table["reference_speeds"] == [0.05, 0.13, 0.26, 0.52, 1.04]
    return settings


@pytest.fixture(scope="module")
def readings() -> dict[str, Reading]:
    return {name: read_file(FOLDER / name) for name in KINDS}


@pytest.fixture(scope="module")
def fits(readings: dict[str, Reading]) -> dict[str, DampingFit]:
    return {name: fit(reading.record) for name, reading in readings.items()}


def _complaint(stored: str, fresh: str, bench: bool) -> str:
    """Say how two texts of one file differ beyond rounding, "" when they do not.

    Another processor's sine may differ in the last bit and push a value over the edge of a quantum: at most one
    number in a thousand, by one unit in the last place; on the cycle benches by one step of the channel (1 N with
    one decimal, 0.05 mm with two).
    """
    number = COMMA if ";" in stored else POINT
    if number.sub("#", stored) != number.sub("#", fresh):
        return "other words"
    pairs = list(zip(number.findall(stored), number.findall(fresh), strict=True))
    apart = [(a, b) for a, b in pairs if a != b]
    if len(apart) > len(pairs) / 1000:
        return f"{len(apart)} of {len(pairs)} numbers differ"
    for a, b in apart:
        place = _last_place(a)
        step = {0.1: 1.0, 0.01: 0.05}.get(place, place) if bench else place
        if abs(float(a.replace(",", ".")) - float(b.replace(",", "."))) > 1.01 * step:
            return f"{a} against {b}"
    return ""


def test_the_script_makes_every_file_anew(made: dict[str, bytes]) -> None:
    assert set(made) >= set(KINDS) | {"truth.json"}
    for name, content in made.items():
        assert (
            _complaint(_text((FOLDER / name).read_bytes()), _text(content), KINDS.get(name) == "cycle") == ""
        ), name


def test_a_file_that_was_changed_is_noticed() -> None:
    stored = _text((FOLDER / "rear_left_before_run1.csv").read_bytes())
    lines = stored.splitlines()
    head, force = lines[5000].rsplit(",", 1)

    def with_force(newtons: float) -> str:
        return stored.replace(lines[5000], f"{head},{newtons:.1f}", 1)

    assert _complaint(stored, stored, bench=True) == ""
    assert _complaint(with_force(float(force) + 0.5), stored, bench=True) == ""
    assert "against" in _complaint(with_force(float(force) + 0.5), stored, bench=False)
    assert "against" in _complaint(with_force(float(force) + 1.5), stored, bench=True)
    assert _complaint(stored.replace("Travel", "Weg"), stored, bench=True) == "other words"
    assert "numbers differ" in _complaint(stored.replace("7", "8"), stored, bench=True)


def test_the_folder_stays_small_and_every_file_is_described() -> None:
    files = [p for p in FOLDER.iterdir() if p.is_file()]
    assert sum(p.stat().st_size for p in files) < 6e6
    readme = (FOLDER / "README.md").read_text(encoding="utf-8")
    assert "invented" in readme
    for path in files:
        if path.name == "README.md" or path.suffix == ".py":
            continue
        short = re.sub(r"run\d", "run", path.stem)
        assert path.name in readme or short in re.sub(r"run\d", "run", readme), path.name


def test_styles_differ() -> None:
    heads = {name: (FOLDER / name).read_bytes() for name in KINDS}
    assert heads["rear_left_before_run1.csv"].startswith(b"\xef\xbb\xbf")
    assert b"\r\n" in heads["rear_left_before_run1.csv"]
    assert heads["front_left_thin_oil.csv"][:2] in (b"\xff\xfe", b"\xfe\xff")
    assert heads["pair_rear_right.csv.gz"][:2] == b"\x1f\x8b"
    with pytest.raises(UnicodeDecodeError):
        heads["pair_rear_left.csv"].decode("utf-8")
    assert "\t" in _text(heads["pair_rear_right.csv.gz"])
    assert re.search(r"\d,\d", _text(heads["pair_rear_left.csv"]))
    assert "lbf" in _text(heads["front_left_thick_oil.csv"])


@pytest.mark.parametrize("name", sorted(KINDS))
def test_every_file_is_read_as_its_kind(name: str, readings: dict[str, Reading]) -> None:
    reading = readings[name]
    assert kind_of(reading.record) == KINDS[name]
    assert reading.decided
    assert reading.record.provenance.file == name


@pytest.mark.parametrize("name", sorted(n for n, kind in KINDS.items() if kind == "cycle"))
def test_cycle_files_arrive_in_the_house_signs(
    name: str, readings: dict[str, Reading], truth: dict[str, Any]
) -> None:
    """Whatever the file's own signs: compression force +, rebound force -, gas +, six tests at the nominal speeds."""
    record = readings[name].record
    assert isinstance(record, CycleRecord)
    assert len(record.tests) == 6
    cycles = (2, 2, 4, 6, 8, 10)
    for test, nominal, turns in zip(record.tests, (0.008, 0.05, 0.13, 0.26, 0.52, 1.04), cycles, strict=True):
        assert np.ptp(test.travel) == pytest.approx(0.080, abs=0.0006)
        period = np.ptp(test.time) / (turns + 0.1)
        # a crank with a rod of finite length has its greatest speed a little above that of a sine
        assert np.pi * 0.080 / period == pytest.approx(nominal, rel=0.02)
        middle = 0.5 * (test.travel.max() + test.travel.min())
        reach = len(test.time) // (40 * turns)
        near = np.flatnonzero(np.abs(test.travel - middle) < 0.012)
        near = near[(near >= reach) & (near < len(test.time) - reach)]
        moved = test.travel[near + reach] - test.travel[near - reach]
        assert test.force[near][moved > 0].mean() > test.force[near][moved < 0].mean() + 10.0
    setting = {"pair_rear_right.csv.gz": "rear right", "pair_rear_left.csv": "rear left before"}.get(
        name, "rear left before" if "before" in name else "rear left after draining"
    )
    slow = record.tests[0]
    gas = truth[setting]["gas_force_mid_stroke"]
    # the slow test's damping is not even on both sides, and the load cell was zeroed to a few newtons only
    assert slow.force.mean() == pytest.approx(gas, abs=25.0)


def test_sweeps_of_both_shops_arrive_in_si_and_house_signs(
    readings: dict[str, Reading], truth: dict[str, Any]
) -> None:
    for oil in ("thick", "thin"):
        record = readings[f"front_left_{oil}_oil.csv"].record
        assert isinstance(record, SweepRecord)
        assert len(record.velocity) == 18
        assert (np.sign(record.velocity) == np.sign(record.force)).all()
        for side, sign in (("compression", 1.0), ("rebound", -1.0)):
            secants = truth[f"front left {oil} oil"]["sides"][side]["secant"]
            for speed, c in zip((0.05, 0.13, 0.26, 0.52, 1.04), secants, strict=True):
                at = np.argmin(np.abs(record.velocity - sign * speed))
                assert record.velocity[at] == pytest.approx(sign * speed, rel=1e-3)
                # friction of 9 N is in a sweep; mounting 1.5 %, repeat 1 %, noise 1.5 N: four standard deviations
                slack = 4.0 * np.hypot(0.018 * c * speed, 1.6)
                assert abs(record.force[at]) == pytest.approx(c * speed + 9.0, abs=slack)


def test_hung_weights_balance_the_true_force(readings: dict[str, Reading], truth: dict[str, Any]) -> None:
    record = readings["front_left_hung_weights.csv"].record
    assert isinstance(record, WeightsRecord)
    assert record.frame_rate == pytest.approx(240.0)
    assert record.moving_mass == pytest.approx(1.4)
    assert sorted(set(record.direction)) == [-1.0, 1.0]
    setting = truth["front left thin oil"]
    half_sum = 0.5 * (record.push_force.mean() + record.return_force.mean())
    assert half_sum == pytest.approx(setting["gas_force_mid_stroke"], abs=1.5)
    assert 0.5 * (record.push_force.mean() - record.return_force.mean()) == pytest.approx(9.0, abs=1.5)


def test_machine_file_is_the_buggy() -> None:
    machine = read_machine((FOLDER / "dune_hopper.toml").read_text(encoding="utf-8"), "dune_hopper.toml")
    assert machine.name == "Dune Hopper No. 4"
    assert set(machine.corners) == {"rear left", "rear right", "front left", "front right"}
    assert sum(corner.sprung_mass.value for corner in machine.corners.values()) == pytest.approx(330.0)


def test_draining_shows_as_it_was(fits: dict[str, DampingFit], truth: dict[str, Any]) -> None:
    """A weaker return by a third, away from the band; compression no clear change; a dead stroke of 6.2 mm."""
    machine = read_machine((FOLDER / "dune_hopper.toml").read_text(encoding="utf-8"), "dune_hopper.toml")
    before = [fits[f"rear_left_before_run{n}.csv"] for n in (1, 2)]
    after = [fits[f"rear_left_after_draining_run{n}.csv"] for n in (1, 2)]
    result = compare(before, after, machine.corner("rear left"), machine.target)
    known = {
        side: np.array(truth["rear left after draining"]["sides"][side]["secant"])
        / np.array(truth["rear left before"]["sides"][side]["secant"])
        for side in ("compression", "rebound")
    }
    for side, ratios in known.items():
        at_target = result.side(side).at_target  # type: ignore[arg-type]
        assert at_target is not None
        assert at_target.speed == pytest.approx(0.26)
        assert at_target.ratio.low <= ratios[2] <= at_target.ratio.high
    assert result.rebound.verdict == "away"
    assert result.compression.verdict == "no clear change"
    for run in after:
        dead = run.rebound.dead_stroke
        assert dead is not None
        assert dead.value == pytest.approx(0.0062, rel=0.10) or dead.contains(0.0062)
        assert run.gas_force is not None
        assert before[0].gas_force is not None
        assert run.gas_force.high < before[0].gas_force.low


def test_pair_is_off_on_the_return_only(fits: dict[str, DampingFit]) -> None:
    result = match([fits["pair_rear_left.csv"]], [fits["pair_rear_right.csv.gz"]])
    sides = {side.side: side for side in result.sides}
    assert sides["rebound"].matched is False
    assert sides["compression"].matched is not False


def test_thinner_oil_goes_toward_the_target(fits: dict[str, DampingFit]) -> None:
    machine = read_machine((FOLDER / "dune_hopper.toml").read_text(encoding="utf-8"), "dune_hopper.toml")
    result = compare(
        [fits["front_left_thick_oil.csv"]],
        [fits["front_left_thin_oil.csv"]],
        machine.corner("front left"),
        machine.target,
    )
    assert result.rebound.verdict == "toward"
    assert result.rebound.at_target is not None
    assert result.rebound.at_target.ratio.high < 1.0


def test_hung_weights_find_the_true_damping(fits: dict[str, DampingFit], truth: dict[str, Any]) -> None:
    fitted = fits["front_left_hung_weights.csv"]
    for side in ("compression", "rebound"):
        secants = dict(
            zip(
                (0.05, 0.13, 0.26, 0.52, 1.04),
                truth["front left thin oil"]["sides"][side]["secant"],
                strict=True,
            )
        )
        got = fitted.side(side).secant
        assert got
        for secant in got:
            true = secants[round(secant.speed, 2)]
            assert secant.c.contains(true) or secant.c.value == pytest.approx(true, rel=0.10)
