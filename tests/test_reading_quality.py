"""The quality report says what is wrong with a recording; provenance says where it came from."""

from __future__ import annotations

import hashlib
import math
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from tests.reading_texts import STROKE, Truth, bench, cycle_text
from tuner.errors import UnitError
from tuner.reading import REGISTRY, ROLES, Reading, ReadOptions, preview, read_bytes, read_file, read_values
from tuner.reading.bench.cycles import isolated
from tuner.reading.registry import choose
from tuner.reading.text.tables import Column, Sheet, Table
from tuner.records import CycleRecord, SweepRecord, WeightsRecord

SAMPLES = sorted(Path(__file__).resolve().parents[1].joinpath("sample_data").glob("*.csv*"))


def read(*tests: Truth, **changes: object) -> Reading:
    return read_bytes(cycle_text(tests, **changes).encode(), "bench.csv")  # type: ignore[arg-type]


def codes(reading: Reading) -> set[str]:
    return {n.code for n in reading.record.quality.notes}


def test_a_clean_recording_has_nothing_to_say() -> None:
    """Rate, no jitter, no gaps, and the cycles of each speed."""
    tests = (bench(0.13, cycles=5), bench(0.52, cycles=7, start=30.0))
    quality = read(*tests, between=[""]).record.quality

    assert quality.notes == ()
    assert quality.rate_hz == pytest.approx(1 / (tests[1].time[1] - tests[1].time[0]), rel=2e-3)  # 5 digits
    assert quality.jitter == pytest.approx(0.0, abs=0.005)
    assert (quality.gaps, quality.duplicates, quality.dropouts, quality.clipped_share) == (0, 0, 0, 0.0)
    assert [n for _, n in quality.cycles] == [5, 7]
    assert [v for v, _ in quality.cycles] == pytest.approx([0.13, 0.52], rel=0.01)


@pytest.mark.parametrize("start", [0, 10, 20, 33, 50, 71])
def test_whole_cycles_are_counted_wherever_the_record_begins(start: int) -> None:
    """Four whole cycles: at least three are found, whatever the phase; one whole cycle counts as one."""
    truth = bench(0.26, cycles=5)
    part = Truth(
        *(getattr(truth, n)[start : start + 4 * 80 + 1] for n in ("time", "travel", "velocity", "force"))
    )
    count = sum(n for _, n in read(part).record.quality.cycles)
    assert count in (3, 4)
    one = Truth(*(getattr(truth, n)[start : start + 81] for n in ("time", "travel", "velocity", "force")))
    assert sum(n for _, n in read(one).record.quality.cycles) == 1


def test_jitter_of_the_clock() -> None:
    """A clock that is off by a normal error of a tenth of a step on each stamp: steps scatter by sqrt(2)/10."""
    truth = bench(0.13, cycles=8, samples=200)
    step = truth.time[1]
    noise = np.random.default_rng(3).normal(0.0, 0.1 * step, truth.time.size)
    quality = read(Truth(truth.time + noise, truth.travel, truth.velocity, truth.force)).record.quality

    assert quality.jitter == pytest.approx(0.1 * math.sqrt(2.0), rel=0.1)


def test_gaps_and_equal_times() -> None:
    """Twenty samples lost in two places, three stamps written twice."""
    lines = cycle_text((bench(0.13),)).splitlines()
    lost = lines[:60] + lines[70:150] + lines[160:]
    lost = lost[:20] + [lost[20]] * 3 + lost[20:]
    reading = read_bytes("\n".join(lost).encode(), "bench.csv")

    assert reading.record.quality.gaps == 2
    assert reading.record.quality.duplicates == 3
    assert {"gaps", "equal-times"} <= codes(reading)


def test_rows_with_one_time_are_averaged() -> None:
    """Neither of two rows with one time is lost."""
    lines = cycle_text((bench(0.13),)).splitlines()
    t, x, f = lines[50].split(",")
    lines.insert(51, f"{t},{x},{float(f) + 10:.2f}")
    record = read_bytes("\n".join(lines).encode(), "bench.csv").record
    assert isinstance(record, CycleRecord)

    assert record.tests[0].force[49] == pytest.approx(float(f) + 5, abs=0.01)


@pytest.mark.parametrize("share", [0.6, 0.8])
def test_clipped_forces(share: float) -> None:
    """A load cell that ends at 60 or 80 % of the peak."""
    truth = bench(0.26, cycles=6, samples=400)
    limit = share * float(truth.force.min())
    held = float(np.mean(truth.force < limit))
    reading = read(Truth(truth.time, truth.travel, truth.velocity, np.maximum(truth.force, limit)))

    assert reading.record.quality.clipped_share == pytest.approx(held, rel=0.05)
    assert "clipped" in codes(reading)


def test_samples_that_stand_alone_are_left_out_and_said() -> None:
    """A loose contact in two rows of force and one of travel, the rest as without it; where every other sample does,
    none is a fault."""
    truth = bench(0.26, cycles=20)
    force, travel = truth.force.copy(), truth.travel.copy()
    force[[100, 700]] += [9000.0, -4000.0]
    travel[900] += 0.2
    record = read(Truth(truth.time, travel, truth.velocity, force)).record
    assert isinstance(record, CycleRecord)

    assert "spikes" in {n.code for n in record.quality.notes}
    assert record.quality.dropouts == 3
    kept = np.delete(np.arange(truth.time.size), [100, 700, 900])
    np.testing.assert_allclose(record.tests[0].force, truth.force[kept], atol=0.01)
    assert not isolated(np.tile([0.0, 1.0], 100)).any()


@pytest.mark.parametrize("step", [5.0, 10.0, 25.0])
def test_forces_written_with_few_digits_are_not_clipped(step: float) -> None:
    """A slow test has few levels of force then; only a limit makes one of them far fuller than its neighbours."""
    truth = bench(0.03, cycles=6, samples=400)
    coarse = step * np.round(truth.force / step)

    assert read(Truth(truth.time, truth.travel, truth.velocity, coarse)).record.quality.clipped_share == 0.0
    limit = 0.6 * float(truth.force.max())
    clipped = step * np.round(np.minimum(truth.force, limit) / step)
    assert read(Truth(truth.time, truth.travel, truth.velocity, clipped)).record.quality.clipped_share > 0.1


def test_drift_of_the_zero() -> None:
    """A zero that creeps by 90 N over the test."""
    truth = bench(0.26, cycles=30)
    creep = np.linspace(0.0, 90.0, truth.time.size)
    reading = read(Truth(truth.time, truth.travel, truth.velocity, truth.force + creep))

    assert reading.record.quality.zero_drift == pytest.approx(90.0 * 29 / 30, rel=0.05)
    assert "zero-drift" in codes(reading)


@pytest.mark.parametrize("creep", [0.0, 30.0])
@pytest.mark.parametrize("seed", range(5))
def test_strokes_that_differ_are_no_drift_of_the_zero(seed: int, creep: float) -> None:
    """Each stroke 1 % stronger or weaker than the last, rebound 5 % weaker at the end: only the creep is told.

    From the first to the last cycle the zero creeps by 11/12 of what it does over the test.
    """
    rng = np.random.default_rng(seed)
    truth = bench(0.52, cycles=12)
    phase = np.arange(truth.time.size) / 80.0
    stroke = np.minimum((2.0 * phase).astype(int), 23)
    gain = (1.0 + 0.01 * rng.standard_normal(24))[stroke] * np.where(stroke % 2, 1.0 - 0.05 * phase / 12, 1.0)
    still = np.where(truth.velocity > 0, 1100.0, 2600.0) * truth.velocity
    force = truth.force + (gain - 1.0) * still + creep * phase / 12 + rng.normal(0.0, 1.5, phase.size)
    quality = read(Truth(truth.time, truth.travel, truth.velocity, force)).record.quality

    assert quality.zero_drift == pytest.approx(creep * 11 / 12, abs=1.5)
    assert "zero-drift" not in {n.code for n in quality.notes}  # 30 of 1900 N is little


def test_too_few_samples_and_no_cycle_are_noted() -> None:
    """Twenty samples a cycle; a test that is only half a stroke."""
    slow = bench(0.13)
    half = Truth(*(getattr(bench(0.26, start=50.0), n)[:40] for n in ("time", "travel", "velocity", "force")))
    reading = read(slow, half, between=[""])
    assert "no-cycle" in codes(reading)
    assert "coarse" in codes(read(bench(0.13, samples=20, cycles=9)))


def test_provenance() -> None:
    """Hash of the bytes as given, rows, columns with units, history, rate."""
    data = cycle_text((bench(0.13),)).encode("utf-16")
    reading = read_bytes(data, "front left.csv")
    origin = reading.record.provenance

    assert origin.sha256 == hashlib.sha256(data).hexdigest()
    assert (origin.file, origin.rows) == ("front left.csv", 241)
    assert [(c.role, c.name, c.unit) for c in origin.columns] == [
        ("time", "Time (s)", "s"),
        ("travel", "Travel (mm)", "mm"),
        ("force", "Force (N)", "N"),
    ]
    assert origin.rate_hz == pytest.approx(1 / bench(0.13).time[1], rel=1e-3)
    assert any("UTF-16" in line for line in origin.history)
    assert origin.history[: len(reading.decided)] == reading.decided


def test_every_decision_is_said() -> None:
    """Delimiter, decimal sign, header, kind and signs."""
    said = "\n".join(read(bench(0.13), delimiter=";", decimal=",").decided)

    for words in (
        "semicolon",
        "decimal comma",
        "header in line 1",
        "kind cycle",
        "gas force",
        "takes energy out",
    ):
        assert words in said


def test_remarks_and_settings_become_conditions() -> None:
    """The file says the temperature and the stroke; the user's word rules."""
    text = cycle_text(
        (bench(0.13),),
        before=[
            "Oil temperature,41 degC",
            "Room temperature,15 degC",
            "Stroke;50 mm",
            "Gas pressure: 8,5 bar",
            "Oil 15 cSt at 40 degC",
            "7 clicks",
        ],
    )
    record = read_bytes(text.encode(), "bench.csv").record
    c = record.conditions
    assert c.temperature == pytest.approx(314.15)
    assert c.stroke == pytest.approx(STROKE)
    assert c.gas_pressure == pytest.approx(8.5e5)
    assert c.viscosity == pytest.approx(15e-6)
    assert c.clicks == 7.0
    options = ReadOptions(
        settings={"temperature": "75 degF", "oil": "light", "oil_volume": "180 ml", "shims": "3 x 0.2"}
    )
    record = read_bytes(text.encode(), "bench.csv", options).record
    assert record.conditions.temperature == pytest.approx(297.039, abs=0.01)
    assert (record.conditions.oil, record.conditions.shims) == ("light", "3 x 0.2")
    assert record.conditions.oil_volume == pytest.approx(180e-6)


WEIGHTS = """direction;mass (kg);distance (mm);time (s)
compression;10;100;1,84
in;20,5;100;0,91
rebound;12;100;4,1
Zug;24;0;
push;12,3;;
return;9,1;;
"""


def test_hung_weights() -> None:
    """Rows, scale readings by standard gravity, frames, and the side from the settings."""
    record = read_bytes(WEIGHTS.replace("Zug;24;0;", "Zug;24;100;2,0").encode(), "w.csv").record
    assert isinstance(record, WeightsRecord)
    np.testing.assert_allclose(record.mass, [10, 20.5, 12, 24])
    np.testing.assert_allclose(record.distance, 0.1)
    np.testing.assert_allclose(record.duration, [1.84, 0.91, 4.1, 2.0])
    np.testing.assert_allclose(record.direction, [1, 1, -1, -1])
    np.testing.assert_allclose(record.push_force, 12.3 * 9.80665)
    np.testing.assert_allclose(record.return_force, 9.1 * 9.80665)
    assert record.frame_rate is None

    frames = (
        "mass (lb),distance (in),first frame,last frame,scale (lbf),what\n"
        "20,4,100,340,,in\n,,,,25,slow push\n,,,,20,slow return\n"
    )
    record = read_bytes(
        frames.encode(), "w.csv", ReadOptions(settings={"frame_rate": "240 Hz", "moving_mass": "1.5 kg"})
    ).record
    assert isinstance(record, WeightsRecord)
    assert (record.mass[0], record.distance[0], record.duration[0]) == pytest.approx((9.0718474, 0.1016, 1.0))
    assert (record.push_force[0], record.return_force[0]) == pytest.approx((111.2055, 88.9644), rel=1e-5)
    assert (record.frame_rate, record.moving_mass) == (240.0, 1.5)

    bare = "mass (kg),distance (mm),time (s)\n10,100,1.84\n20,100,0.9\n"
    record = read_bytes(
        bare.encode(), "w.csv", ReadOptions(settings={"side": "rebound", "push": "120 N", "return": "90 N"})
    ).record
    assert isinstance(record, WeightsRecord)
    assert record.direction.tolist() == [-1, -1]
    assert record.push_force.tolist() == [120.0]


def test_values_from_python() -> None:
    """Arrays, lists and a DataFrame, with units where the names carry them."""
    truth = bench(0.13)
    table = pd.DataFrame(
        {"Time (ms)": truth.time * 1e3, "Travel (mm)": truth.travel * 1e3, "Force (N)": truth.force}
    )
    for values in (table, dict(table.items()), {k: v.tolist() for k, v in table.items()}):
        record = read_values(values).record  # type: ignore[arg-type]
        assert isinstance(record, CycleRecord)
        np.testing.assert_allclose(record.tests[0].travel, truth.travel, rtol=1e-12)
        assert record.provenance.sha256
    stamps = np.datetime64("2031-01-01T12:00:00") + (truth.time * 1e9).astype("timedelta64[ns]")
    record = read_values({"time": stamps, "travel": truth.travel, "force": truth.force}, "cycle").record
    assert isinstance(record, CycleRecord)
    np.testing.assert_allclose(record.tests[0].time, truth.time, atol=1e-8)
    sweep = read_values({"velocity": [0.1, -0.1], "force": [200.0, -400.0]}, "sweep").record
    assert isinstance(sweep, SweepRecord)
    weights = read_values(
        {"direction": ["compression"], "mass": [10], "distance": [0.1], "duration": [2.0]}
    ).record
    assert isinstance(weights, WeightsRecord)


def test_a_preview_shows_columns_choices_and_rows() -> None:
    """What a screen needs before a file is read."""
    look = preview(cycle_text((bench(0.13),)).encode(), "bench.csv", rows=3)
    assert look.kind == "cycle"
    assert [(c.name, c.role, c.unit, c.kind) for c in look.columns] == [
        ("Time (s)", "time", "s", "time"),
        ("Travel (mm)", "travel", "mm", "length"),
        ("Force (N)", "force", "N", "force"),
    ]
    assert len(look.rows) == 3
    assert look.problem is None
    assert set(look.choices) == {"time", "travel", "force", "velocity", "test"}

    open_unit = preview(cycle_text((bench(0.13),)).replace(" (N)", "").encode(), "bench.csv")
    assert open_unit.columns[2].unit is None
    assert "needs a unit of force" in str(open_unit.problem)
    bare = preview("\n".join(cycle_text((bench(0.13),)).splitlines()[1:]).encode(), "bench.csv")
    assert [c.name for c in bare.columns] == ["column 1", "column 2", "column 3"]
    assert bare.problem is not None


def test_a_preview_of_a_recording_at_a_rate() -> None:
    """The title says the rate; the short head of the file is not taken for a sweep."""
    lines = cycle_text((bench(0.13),)).splitlines()
    text = "\n".join(["Sampling rate: 70 Hz", *(line.split(",", 1)[1] for line in lines)])
    look = preview(text.encode(), "bench.csv")
    assert (look.kind, look.problem) == ("cycle", None)
    sweep = "Sampling rate: 1000 Hz\nSpeed (m/s),Compression (N),Rebound (N)\n0.1,200,-300\n0.2,300,-500\n"
    assert isinstance(read_bytes(sweep.encode(), "s.csv").record, SweepRecord)


def test_each_kind_recognises_its_own_columns_and_no_other() -> None:
    """The registry against itself: every kind's columns by their first names."""
    own = {
        "cycle": ("time (s)", "travel (mm)", "force (N)"),
        "weights": ("mass (kg)", "distance (mm)", "duration (s)", "direction"),
        "sweep": ("velocity (m/s)", "force (N)"),
    }
    for reader in REGISTRY:
        assert reader.needs
        assert set(reader.roles) <= set(ROLES)
        if reader.kind in own:
            names = own[reader.kind]
            table = Table(names, ("",) * len(names), tuple(Column(np.zeros(1)) for _ in names))
            found, _, why = choose(Sheet((table,)), ReadOptions(), "a file")
            assert (found.kind, bool(why)) == (reader.kind, True)


def test_every_role_has_words_and_a_meaning() -> None:
    """A role without words could never be recognised."""
    for name, role in ROLES.items():
        assert role.words, name
        assert role.meaning, name


@pytest.mark.parametrize("path", SAMPLES, ids=lambda p: p.name)
def test_samples_are_read(path: Path) -> None:
    """Every sample is read without a word from the user, and the record counts as the house does."""
    record = read_file(path).record

    assert record.provenance.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    if isinstance(record, CycleRecord):
        for test in record.tests:
            assert float(np.sum(0.5 * (test.force[1:] + test.force[:-1]) * np.diff(test.travel))) > 0


def test_reading_costs_nothing_until_it_is_used() -> None:
    """The room's names are there without numpy or pandas."""
    code = "import sys, tuner.reading as r; r.__all__; print('numpy' in sys.modules, 'pandas' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["False", "False"]


def test_a_nominal_speed_is_no_velocity() -> None:
    """A column of speeds that stands still within a test tells the tests apart, and is compared with the motion."""
    for stated, noted in ((("0.13", "0.52"), False), (("0.13", "0.26"), True)):
        lines = ["Speed (m/s),Time (s),Travel (mm),Force (N)"]
        for speed, test in zip(stated, (bench(0.13), bench(0.52, start=20.0)), strict=True):
            lines += [f"{speed},{line}" for line in cycle_text((test,)).splitlines()[1:]]
        reading = read_bytes("\n".join(lines).encode(), "bench.csv")
        assert isinstance(reading.record, CycleRecord)
        assert len(reading.record.tests) == 2
        assert reading.record.tests[0].velocity is None
        assert ("speed-differs" in codes(reading)) == noted


def test_a_stroke_that_the_file_contradicts_is_noted() -> None:
    """The title says 50 mm; a wrong unit of travel shows."""
    text = cycle_text((bench(0.13),), before=["Stroke: 50 mm"])
    assert codes(read_bytes(text.encode(), "bench.csv")) == set()
    wrong = read_bytes(text.replace("(mm)", "(cm)").encode(), "bench.csv")
    assert "stroke-differs" in codes(wrong)


def test_a_spring_that_was_left_on_is_noted() -> None:
    """25 N/mm beside the damper."""
    truth = bench(0.13)
    reading = read(Truth(truth.time, truth.travel, truth.velocity, truth.force + 25e3 * truth.travel))
    assert "spring" in codes(reading)
    assert "spring" not in codes(read(truth))


def test_a_clock_that_counts_from_another_century() -> None:
    """Milliseconds since 1970: the record begins at zero, without loss."""
    truth = bench(0.13)
    lines = ["timestamp_ms,travel_mm,force_N"]
    for t, x, f in zip(truth.time, truth.travel, truth.force, strict=True):
        lines.append(f"{1.9e12 + 1e3 * t:.3f},{1e3 * x:.3f},{f:.2f}")
    record = read_bytes("\n".join(lines).encode(), "bench.csv").record
    assert isinstance(record, CycleRecord)
    np.testing.assert_allclose(record.tests[0].time, truth.time, atol=1e-6)


def test_units_above_the_names_and_units_that_contradict() -> None:
    """A row of units may stand above; two different units for one column are refused."""
    text = cycle_text((bench(0.13),), header=("Time", "Travel", "Force"), before=["[s],[mm],[N]"])
    record = read_bytes(text.encode(), "bench.csv").record
    assert [c.unit for c in record.provenance.columns] == ["s", "mm", "N"]

    text = cycle_text((bench(0.13),)).replace("Force (N)\n", "Force (N)\ns,mm,lbf\n")
    with pytest.raises(UnitError, match="its name says 'N', the row of units 'lbf'"):
        read_bytes(text.encode(), "bench.csv")


def test_rows_of_several_dampers_in_one_table_are_noted() -> None:
    """A column that tells dampers apart and plays no role."""
    text = "Damper,Speed (m/s),Compression (N),Rebound (N)\n"
    rows = ["0.1,200,-400", "0.2,350,-700", "0.4,600,-1300"]
    mixed = read_bytes(
        (text + "\n".join(f"{d},{r}" for d in ("left", "right") for r in rows)).encode(), "s.csv"
    )
    assert "mixed-rows" in codes(mixed)
    alone = read_bytes((text + "\n".join(f"left,{r}" for r in rows)).encode(), "s.csv")
    assert codes(alone) == set()
    clicks = text.replace("Damper", "Clicks") + "\n".join(f"{c},{r}" for c in (4, 8) for r in rows)
    assert "mixed-rows" in codes(read_bytes(clicks.encode(), "s.csv"))


def test_speeds_are_held_to_stroke_and_strokes_per_minute() -> None:
    """100 mm at 60 per minute peak at 0.314 m/s; a column in the wrong unit shows."""
    for speed, noted in (("0.314", False), ("314", True)):
        head = f"Speed ({'m/s' if not noted else 'cm/s'}),Stroke (mm),rpm,Compression (N),Rebound (N)\n"
        text = head + "\n".join(f"{k * float(speed)},100,{60 * k},{300 * k},{-600 * k}" for k in (1, 2, 3))
        assert ("speed-differs" in codes(read_bytes(text.encode(), "s.csv"))) == noted


@pytest.mark.parametrize(
    ("rows", "code"),
    [
        (["0.1,200,-400", "0.2,350,-700"], ""),
        (["0.1,400,-180", "0.2,700,-300"], "unusual-sides"),
        (["1,400,-800", "4,700,-1200"], "unusual-speed"),
        (["1,30,-50", "2,50,-90"], "unusual-damping"),
        (["0.1,300,-500", "0.1,310,-490"], "one-speed"),
    ],
)
def test_what_is_possible_but_rare_is_noted(rows: list[str], code: str) -> None:
    """Sides, speeds and dampings that make a builder look again."""
    text = "Speed (m/s),Compression (N),Rebound (N)\n" + "\n".join(rows)
    assert codes(read_bytes(text.encode(), "s.csv")) == ({code} if code else set())


def test_cycles_with_the_sides_turned_round_are_noted() -> None:
    """The user says the wrong side: compression is then far stronger than the return."""
    text = cycle_text((bench(0.52, gas=0.0),))
    options = ReadOptions(settings={"positive_travel": "rebound"})
    assert "unusual-sides" in codes(read_bytes(text.encode(), "bench.csv", options))
