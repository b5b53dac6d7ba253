"""What people type and hand over: names, units, words, remarks, the wrong file in the wrong place."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import numpy as np
import pytest

from tuner.errors import MachineError, ReadError, UnitError, UsageError
from tuner.machine import read_machine
from tuner.reading import ReadOptions, preview, read_bytes
from tuner.records import CycleRecord, SweepRecord, WeightsRecord

INCH, POUND_FORCE = 0.0254, 4.4482216152605  # exact by definition
SWEEP = "Speed (m/s),Compression (N),Rebound (N)\n0.1,80,200\n0.2,135,290\n0.4,260,450\n"
VELOCITY = [0.1, 0.2, 0.4, -0.1, -0.2, -0.4]
FORCE = [80.0, 135.0, 260.0, -200.0, -290.0, -450.0]
MACHINE = '[corners."rear left"]\nsprung_mass = "92 kg"\nspring_rate = "28 N/mm"\nmotion_ratio = 0.7\n'
POUNDS = "[corners.rear]\nsprung_mass = {mass}\nspring_rate = {rate}\nmotion_ratio = 0.7\n"


def sweep(text: str | bytes, **options: object) -> SweepRecord:
    data = text.encode() if isinstance(text, str) else text
    record = read_bytes(data, "f.csv", ReadOptions(**options)).record  # type: ignore[arg-type]
    assert isinstance(record, SweepRecord)
    return record


def weights(rows: str, title: str = "") -> WeightsRecord:
    head = f"{title}direction,mass (kg),distance (mm),time (s)\n"
    record = read_bytes((head + rows).encode(), "w.csv").record
    assert isinstance(record, WeightsRecord)
    return record


def true(record: SweepRecord) -> None:
    np.testing.assert_allclose(record.velocity, VELOCITY)
    np.testing.assert_allclose(record.force, FORCE)


# --- names ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("typed", ["rear left", "Rear Left", "rear_left", "rear-left", " REAR  LEFT "])
def test_a_corner_is_found_however_its_name_is_typed(typed):
    assert read_machine(MACHINE).corner(typed).name == "rear left"


def test_a_name_that_two_corners_share_must_be_written_exactly():
    machine = read_machine(MACHINE + MACHINE.replace("rear left", "Rear_Left"))

    assert machine.corner("Rear_Left").name == "Rear_Left"
    with pytest.raises(MachineError, match="has 2 corners 'rear-left'") as refused:
        machine.corner("rear-left")
    assert refused.value.hint == "Write one of 'rear left', 'Rear_Left' exactly."


def test_a_column_is_found_however_its_name_is_typed():
    text = SWEEP.replace("Compression (N)", "Load_Cell-1 (N)").replace("Rebound (N)", "Load_Cell-2 (N)")
    for first, second in (("load cell 1", "load cell 2"), ("LOAD-CELL_1 (n)", "Load_Cell-2 (N)")):
        true(sweep(text, columns={"Compression Force": first, "rebound-force": second}))


def test_a_name_that_two_columns_share_is_refused_with_the_choices():
    text = "Speed (m/s),Cell_1 (N),cell-1 (N)\n0.1,80,200\n0.2,135,290\n"

    with pytest.raises(UsageError, match="2 columns are called 'cell 1'") as refused:
        sweep(text, columns={"compression_force": "cell 1"})
    assert "'Cell_1 (N)', 'cell-1 (N)'" in refused.value.hint


# --- units ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("named", ["force", "Force"])
def test_a_unit_for_a_quantity_holds_for_all_its_columns(named):
    record = sweep(SWEEP.replace(" (N)", "").replace(" (m/s)", ""), units={named: "lbf", "speed": "in/s"})

    np.testing.assert_allclose(record.force, np.multiply(FORCE, POUND_FORCE))
    np.testing.assert_allclose(record.velocity, np.multiply(VELOCITY, INCH))


def test_a_unit_for_one_role_rules_over_the_one_for_its_quantity():
    record = sweep(SWEEP.replace(" (N)", ""), units={"force": "lbf", "rebound_force": "N"})

    np.testing.assert_allclose(record.force, [*np.multiply(FORCE[:3], POUND_FORCE), *FORCE[3:]])


def test_an_unknown_quantity_and_a_wrong_unit_are_refused():
    with pytest.raises(UsageError, match="no column plays the role 'forse'"):
        sweep(SWEEP, units={"forse": "lbf"})
    with pytest.raises(UnitError, match="--unit speed needs a unit of speed"):
        sweep(SWEEP, units={"speed": "lbf"})


@pytest.mark.parametrize(
    "head", ["Velocity in/s", "Velocity_in/s", "Speed in in/s", "in/s", "Velocity, in/s"]
)
def test_inches_per_second_in_a_header_are_a_speed(head):
    text = SWEEP.replace(",", ";").replace("Speed (m/s)", head)
    record = sweep(text)

    assert record.provenance.columns[0].unit == "in/s"
    np.testing.assert_allclose(record.velocity, np.multiply(VELOCITY, INCH))


@pytest.mark.parametrize("head", ["time_in_s", "Time in s", "Zeit / s"])
def test_a_time_in_seconds_is_not_taken_for_inches_per_second(head):
    time = np.arange(0.0, 3.0, 0.004)
    travel, velocity = 20.0 * np.sin(7.0 * time), 140.0 * np.cos(7.0 * time)
    lines = [f"{t:.3f};{x:.4f};{v + 300:.3f}" for t, x, v in zip(time, travel, velocity, strict=True)]
    text = "\n".join([f"{head};Travel in mm;Force in N", *lines])
    record = read_bytes(
        text.encode(), "c.csv", ReadOptions(settings={"positive_travel": "compression"})
    ).record

    assert isinstance(record, CycleRecord)
    np.testing.assert_allclose(np.ptp(record.tests[0].time), 2.996, rtol=1e-6)


@pytest.mark.parametrize("text", ["70F", "70 °F", "70°F", "70 deg F", "70 degF", "21.111C", "21.111 °C"])
def test_a_temperature_is_read_as_people_write_it(text):
    said = sweep(SWEEP, settings={"temperature": text}).conditions.temperature
    written = sweep(f"# oil temperature: {text}\n{SWEEP}").conditions.temperature

    assert said == pytest.approx(294.261, abs=1e-3)
    assert written == pytest.approx(294.261, abs=1e-3)


def test_a_bare_letter_is_no_temperature_where_nothing_speaks_of_one():
    assert sweep(f"Shim stack 21 C\n{SWEEP}").conditions.temperature is None


# --- words of directions --------------------------------------------------------------------------------------------

PAIRS = [
    ("in", "out"),
    ("push", "pull"),
    ("bump", "extension"),
    ("Compressing", "extending"),
    ("rein", "raus"),
    ("Druckstufe", "Zugstufe"),
    ("einfedern", "ausfedern"),
    ("compression", "détente"),
    ("compresión", "extensión"),
    ("adentro", "afuera"),
    ("wheel up", "wheel down"),
    ("body down", "body up"),
    ("Rad hoch", "Rad runter"),
]


def directed(pair: tuple[str, str], title: str = "") -> str:
    rows = "".join(
        f"{pair[i % 2]},{v},{f}\n" for i, (v, f) in enumerate(((0.1, 80), (0.1, 200), (0.3, 200), (0.3, 400)))
    )
    return f"{title}Direction,Speed (m/s),Force (N)\n{rows}"


@pytest.mark.parametrize("pair", PAIRS, ids=" ".join)
def test_words_of_a_direction_are_understood(pair):
    record = sweep(directed(pair))

    np.testing.assert_allclose(record.velocity, [0.1, -0.1, 0.3, -0.3])
    np.testing.assert_allclose(record.force, [80, -200, 200, -400])


def test_up_and_down_need_somebody_who_says_what_they_mean():
    with pytest.raises(ReadError, match="line 2 holds 'up'") as refused:
        sweep(directed(("up", "down")))
    assert "'up = compression' above the table" in refused.value.hint

    assert sweep(directed(("up", "down"), "up = compression\n")).velocity[0] == pytest.approx(0.1)
    assert sweep(directed(("up", "down"), "# down means compression\n")).velocity[0] == pytest.approx(-0.1)
    with pytest.raises(ReadError, match="holds 'up'"):
        sweep(directed(("up", "down"), "up = compression\ndown = compression\n"))


def test_hung_weights_that_were_pushed_and_pulled():
    """Beside a pull, a push with distance and time is a weight that sank, and one without is still the scale's."""
    record = weights("push,10,100,1\npull,12,100,1.5\npush,11,,\nreturn,9,,\n")

    assert record.direction.tolist() == [1.0, -1.0]
    np.testing.assert_allclose(record.push_force, [11 * 9.80665])


def test_a_pull_without_distance_and_time_is_asked_about():
    with pytest.raises(ReadError, match="line 3: direction must be compression, rebound, push or return"):
        weights("compression,10,100,1\npull,12,,\n")


# --- remarks --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("remark", [" # slipped, again", " // slipped", "  #slipped; again", ", # slipped"])
@pytest.mark.parametrize("line", [1, 2, 3])
def test_a_remark_behind_a_row_is_no_part_of_it(remark, line):
    lines = SWEEP.splitlines()
    lines[line] += remark
    reading = read_bytes("\n".join(lines).encode(), "f.csv")

    true(reading.record)  # type: ignore[arg-type]
    assert "what stands behind # or // in one row is a remark and not used" in reading.decided


def test_a_number_sign_that_is_no_remark_stays():
    """Run #3 in words, and what spreadsheets write for no number."""
    text = "Run,Speed (m/s),Compression (N),Rebound (N)\nRun #1,0.1,80,200\nRun #2,0.2,#N/A,290\nRun #3,0.4,260,450\n"
    reading = read_bytes(text.encode(), "f.csv")

    assert not [d for d in reading.decided if "remark" in d]
    assert sorted(reading.record.force.tolist()) == [-450.0, -290.0, -200.0, 80.0, 260.0]  # type: ignore[union-attr]


@pytest.mark.parametrize("line", [1, 2, 3])
@pytest.mark.parametrize("others", ["", "21"])
def test_a_remark_in_a_column_that_is_not_used_refuses_nothing(line, others):
    lines = SWEEP.splitlines()
    table = [lines[0] + ",Notes", *(f"{row},{others}" for row in lines[1:])]
    table[line] = f"{lines[line]},hot now"
    reading = read_bytes("\n".join(table).encode(), "f.csv")

    true(reading.record)  # type: ignore[arg-type]
    assert "not used: 'Notes'" in reading.decided


def test_a_remark_in_a_column_that_is_used_refuses_it_by_line_and_column():
    with pytest.raises(ReadError, match=r"line 3: column 'Rebound [(]N[)]' needs a number; found 'hot now'"):
        sweep(SWEEP.replace("290", "hot now"))


def test_remarks_in_a_large_file_are_found_too():
    """Beyond the size from which rows are read at full speed."""
    time = np.arange(0.0, 60.0, 0.004)
    travel, force = 20.0 * np.sin(7.0 * time), 140.0 * np.cos(7.0 * time) + 300.0
    rows = [f"{t:.3f},{x:.4f},{f:.3f},21" for t, x, f in zip(time, travel, force, strict=True)]
    plain = "\n".join(["Time (s),Travel (mm),Force (N),Temp", *rows])
    rows[9000] += " # bumped the bench"
    rows[9100] = rows[9100].replace(",21", ",warm")
    options = ReadOptions(settings={"positive_travel": "compression"})
    one, other = (
        read_bytes(text.encode(), "c.csv", options).record
        for text in (plain, "\n".join(["Time (s),Travel (mm),Force (N),Temp", *rows]))
    )

    np.testing.assert_array_equal(one.tests[0].force, other.tests[0].force)  # type: ignore[union-attr]


# --- the wrong file in the wrong place ------------------------------------------------------------------------------


def zipped(*names: str, first: bytes = b"<x/>") -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        for name in names:
            archive.writestr(name, first)
    return stream.getvalue()


SPREADSHEETS = {
    "xlsx": zipped("[Content_Types].xml", "xl/workbook.xml"),
    "ods": zipped("mimetype", "content.xml", first=b"application/vnd.oasis.opendocument.spreadsheet"),
    "xls": b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600),
}


@pytest.mark.parametrize("ending", SPREADSHEETS)
def test_a_spreadsheet_is_refused_with_the_words_save_as_csv(ending):
    with pytest.raises(
        ReadError, match=f"test.{ending} must be CSV text; it is an? .*spreadsheet.*save as CSV"
    ):
        read_bytes(SPREADSHEETS[ending], f"test.{ending}")
    problem = preview(SPREADSHEETS[ending], f"test.{ending}").problem

    assert problem is not None
    assert "save as CSV" in problem.message


def test_another_archive_is_not_called_a_spreadsheet():
    with pytest.raises(ReadError, match="must be CSV text; it is a zip archive"):
        read_bytes(zipped("run1.csv"), "tests.zip")


@pytest.mark.parametrize("name", ["buggy.toml", "buggy.txt"])
@pytest.mark.parametrize(
    "text", [MACHINE, f"# my buggy\nname = 'b'\n{MACHINE}\n[target]\ncompression = [0.2, 0.3]\n"]
)
def test_a_machine_file_in_place_of_a_recording_is_recognised(name, text):
    with pytest.raises(ReadError, match=f"{name} must be a recording; it looks like a machine file"):
        read_bytes(text.encode(), name)
    assert "machine file" in str(preview(text.encode(), name).problem)


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_a_recording_in_place_of_the_machine_file_is_recognised(delimiter):
    with pytest.raises(MachineError, match="must be a machine file; it looks like a recording"):
        read_machine(SWEEP.replace(",", delimiter), "run.csv")


def test_a_spreadsheet_in_place_of_the_machine_file_is_recognised():
    with pytest.raises(MachineError, match="such as a spreadsheet"):
        read_machine(SPREADSHEETS["xlsx"], "buggy.xlsx")


# --- a mass without a unit among pounds -----------------------------------------------------------------------------


@pytest.mark.parametrize("mass", ["200", "200.0", '"200"', '"200 +- 2 %"'])
@pytest.mark.parametrize("rate", ['"160 lbf/in"', '"160 lb/in +- 5 lb/in"'])
def test_a_bare_mass_among_pounds_is_asked_about(mass, rate):
    with pytest.raises(MachineError, match=r"line 2: .*sprung_mass must .* is 200(\.0)? in kg or lb\?"):
        read_machine(POUNDS.format(mass=mass, rate=rate))


@pytest.mark.parametrize(
    ("mass", "rate"), [('"200 lb"', '"160 lbf/in"'), ("92", '"28 N/mm"'), ("92", "28000")]
)
def test_a_mass_that_leaves_nothing_open_is_taken(mass, rate):
    found = read_machine(POUNDS.format(mass=mass, rate=rate)).corner("rear").sprung_mass.value

    assert found == pytest.approx(90.7185 if "lb" in mass else 92.0, rel=1e-5)


# --- the command line -----------------------------------------------------------------------------------------------

SAMPLES = Path(__file__).resolve().parents[1] / "sample_data"


@pytest.mark.parametrize("corner", ["Rear Left", "rear_left", "rear-left"])
def test_the_command_line_finds_a_corner_however_it_is_typed(tuner, corner):
    words = (
        "fit",
        SAMPLES / "rear_left_before_run1.csv",
        "--machine",
        SAMPLES / "dune_hopper.toml",
        "--json",
    )
    ended = tuner(*words, "--corner", corner)

    assert ended.status == 0
    assert ended.out == tuner(*words, "--corner", "rear left").out


@pytest.mark.parametrize("name", ["r" * 300 + ".html", "r" * 250 + ".html"])
def test_a_report_that_cannot_be_written_is_refused_and_no_defect(tuner, tmp_path, name):
    """A name longer than file systems take, and one that is too long only for the part written first."""
    ended = tuner("fit", SAMPLES / "front_left_thin_oil.csv", "--report", tmp_path / name)

    assert ended.status == 3
    assert "cannot be written" in ended.err
    assert "defect" not in ended.err
    assert not list(tmp_path.iterdir())
