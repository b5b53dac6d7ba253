"""Files in many styles give the same record."""

from __future__ import annotations

import gzip
from collections.abc import Callable

import numpy as np
import pytest

from tests.reading_texts import bench, cycle_text
from tuner.reading import ReadOptions, read_bytes
from tuner.records import CycleRecord

TESTS = (bench(0.13), bench(0.52))
INWARD = ReadOptions(settings={"positive_travel": "compression"})


def check(
    data: str | bytes, options: ReadOptions | None = None, *, count: int = 1, velocity: bool = False
) -> CycleRecord:
    """Read it and hold every number to the truth."""
    reading = read_bytes(data.encode() if isinstance(data, str) else data, "bench.csv", options)
    record = reading.record
    assert isinstance(record, CycleRecord)
    assert len(record.tests) == count
    for found, true in zip(record.tests, TESTS if count == 2 else (bench(),), strict=True):
        np.testing.assert_allclose(found.time - found.time[0], true.time, atol=2e-5)
        np.testing.assert_allclose(found.travel, true.travel, atol=2e-5)
        np.testing.assert_allclose(found.force, true.force, atol=0.1)
        if velocity:
            np.testing.assert_allclose(found.velocity, true.velocity, atol=2e-4)
        else:
            assert found.velocity is None
    return record


@pytest.mark.parametrize("delimiter", [",", ";", "\t", " ", "|"])
@pytest.mark.parametrize("decimal", [".", ","])
@pytest.mark.parametrize("quoted", [False, True])
def test_every_delimiter_with_either_decimal_sign(delimiter: str, decimal: str, quoted: bool) -> None:
    """Comma, semicolon, tab, space and bar; point and comma; quotes or none."""
    text = cycle_text(delimiter="\0", decimal=decimal)
    if delimiter == " " and not quoted:
        text = (
            text.replace("Time (s)", "Time_(s)")
            .replace("Travel (mm)", "Travel_mm")
            .replace("Force (N)", "Force_N")
        )
    if delimiter == "," and decimal == ",":
        quoted = True  # otherwise nobody could tell
    if quoted:
        text = "\n".join('"' + line.replace("\0", '"\0"') + '"' for line in text.splitlines()) + "\n"
    check(text.replace("\0", delimiter))


@pytest.mark.parametrize(
    ("header", "units"),
    [
        (("Time (s)", "Travel (mm)", "Force (N)"), ("s", "mm", "N")),
        (("time [ms]", "displacement [mm]", "load [lbf]"), ("ms", "mm", "lbf")),
        (("t_ms", "position_in", "force_lbf"), ("ms", "in", "lbf")),
        (("Zeit / s", "Weg / mm", "Kraft / kN"), ("s", "mm", "kN")),
        (("Zeit in ms", "Federweg in mm", "Dämpferkraft in N"), ("ms", "mm", "N")),
        (("Temps (s)", "Déplacement (mm)", "Effort (N)"), ("s", "mm", "N")),
        (("Tiempo (s)", "Desplazamiento (cm)", "Fuerza (kgf)"), ("s", "cm", "kgf")),
        (("TIME s", "SHAFT TRAVEL mm", "DAMPER FORCE N"), ("s", "mm", "N")),
        (("elapsedTime (s)", "shaftTravel (mm)", "loadCell (N)"), ("s", "mm", "N")),
        (("millis", "pos (mm)", "force: N"), ("ms", "mm", "N")),
        (("time_us", "x (mm)", "F (N)"), ("us", "mm", "N")),
        (("t [ns]", "Hub{mm}", "Last<N>"), ("ns", "mm", "N")),
        (("time - s", "travel - mm", "force - daN"), ("s", "mm", "N")),
    ],
)
def test_names_and_units_in_four_languages(header: tuple[str, ...], units: tuple[str, ...]) -> None:
    """Units in brackets, behind a slash, an underscore, a space, or as part of the name."""
    digits = tuple({"s": 5, "ms": 2, "us": 0, "ns": 0, "mm": 3, "in": 5, "cm": 4}.get(u, 5) for u in units)
    text = cycle_text(header=header, units=units, digits=digits, delimiter=";")
    if header[2].endswith("daN"):
        record = read_bytes(text.encode(), "bench.csv").record
        assert isinstance(record, CycleRecord)
        np.testing.assert_allclose(record.tests[0].force, 10 * bench().force, atol=0.1)
        return
    check(text)


@pytest.mark.parametrize("row", [("s", "mm", "N"), ("[s]", "[mm]", "[N]"), ("(s)", "(mm)", "(N)")])
def test_units_in_a_row_of_their_own(row: tuple[str, ...]) -> None:
    """A row of units below the names."""
    text = cycle_text(header=("Time", "Position", "Load"), delimiter=";")
    head, rest = text.split("\n", 1)
    check(f"{head}\n{';'.join(row)}\n{rest}")


ENCODERS: dict[str, Callable[[str], bytes]] = {
    "UTF-8 with mark": lambda t: t.encode("utf-8-sig"),
    "UTF-16": lambda t: t.encode("utf-16"),
    "UTF-16 big": lambda t: b"\xfe\xff" + t.encode("utf-16-be"),
    "UTF-16 without mark": lambda t: t.encode("utf-16-le"),
    "UTF-16 big without mark": lambda t: t.encode("utf-16-be"),
    "UTF-32": lambda t: t.encode("utf-32"),
    "Latin-1": lambda t: t.encode("latin-1"),
    "CRLF": lambda t: t.replace("\n", "\r\n").encode(),
    "CR": lambda t: t.replace("\n", "\r").encode(),
    "CRCRLF": lambda t: t.replace("\n", "\r\r\n").encode(),
    "no last line end": lambda t: t.rstrip("\n").encode(),
    "gz": lambda t: gzip.compress(t.encode()),
    "gz in two members": lambda t: gzip.compress(t[:1000].encode()) + gzip.compress(t[1000:].encode()),
    "old end of file": lambda t: t.encode() + b"\x1a",
}


@pytest.mark.parametrize("name", list(ENCODERS))
def test_encodings_and_line_ends(name: str) -> None:
    """The same text in every encoding."""
    text = cycle_text(header=("Zeit (s)", "Dämpferweg (mm)", "Kraft (N)"))
    check(ENCODERS[name](text))


def test_title_block_comments_and_blank_lines() -> None:
    """Text above the header, comments anywhere, an empty line inside a running test."""
    text = cycle_text(
        before=[
            "Shed 9 bench",
            "Damper;rear left",
            "",
            "Rate: 1000 per turn",
            "# a comment",
            "% another",
            "// third",
        ]
    )
    lines = text.splitlines()
    lines.insert(60, "# somebody sneezed")
    lines.insert(90, "")
    check("\n".join(lines))


def test_header_in_a_comment() -> None:
    """A header behind a comment sign counts when it is right above the data."""
    check("# " + cycle_text())


def test_title_block_padded_to_the_width_of_the_table() -> None:
    """A spreadsheet writes delimiters behind the title lines."""
    check(cycle_text(before=["Bench;;", "Stroke;50;mm", "Samples;241;"], delimiter=";"))


def test_trailing_delimiters() -> None:
    """A delimiter at the end of every row."""
    text = cycle_text(delimiter=";")
    check(text.replace("\n", ";\n"))
    head, rest = text.split("\n", 1)
    check(head + "\n" + rest.replace("\n", ";\n"))


def test_aligned_columns_of_spaces() -> None:
    """Columns padded with spaces, names with spaces in them."""
    lines = ["Time (s)    Travel (mm)   Force (N)"]
    lines += [
        f"  {a:>10}   {b:>9}  {c:>9}" for a, b, c in (r.split(",") for r in cycle_text().splitlines()[1:])
    ]
    check("\n".join(lines))


def test_thousands_separators() -> None:
    """English, Swiss, French and German thousands."""
    head, *data = cycle_text(TESTS[1:], digits=(5, 3, 2), delimiter=";").splitlines()

    def grouped(sep: str, decimal: str) -> bytes:
        out = [head]
        for line in data:
            cells = line.split(";")
            cells[2] = f"{float(cells[2]):,.2f}".replace(",", "\0").replace(".", decimal).replace("\0", sep)
            out.append(";".join([cells[0].replace(".", decimal), cells[1].replace(".", decimal), cells[2]]))
        return "\n".join(out).encode()

    for sep, decimal in ((",", "."), ("'", "."), (" ", ","), ("\u202f", ","), (".", ",")):
        record = read_bytes(grouped(sep, decimal), "bench.csv", INWARD).record
        assert isinstance(record, CycleRecord)
        np.testing.assert_allclose(record.tests[0].force, TESTS[1].force, atol=0.01)


def test_time_stamps() -> None:
    """ISO stamps, clock times and German dates, over midnight where there is a date."""
    lines = cycle_text().splitlines()

    def stamped(write: Callable[[float], str]) -> str:
        out = ["Time;Travel (mm);Force (N)"]
        for line in lines[1:]:
            cells = line.split(",")
            out.append(";".join([write(float(cells[0])), cells[1], cells[2]]))
        return "\n".join(out)

    def clock(t: float, start: float) -> str:
        t += start
        return f"{int(t // 3600):02}:{int(t % 3600 // 60):02}:{t % 60:09.6f}"

    check(stamped(lambda t: clock(t, 3599.5)))
    check(stamped(lambda t: "2031-05-04T" + clock(t, 43200) + "Z"))
    check(stamped(lambda t: "2031-05-04 " + clock(t, 43200)))
    check(stamped(lambda t: "04.05.2031 " + clock(t, 43200)))
    midnight = 86399.0
    check(
        stamped(
            lambda t: "2031-05-04 " + clock(t, midnight) if t < 1 else "2031-05-05 " + clock(t - 1, 0.0)
        ).replace("86400", "86400")
    )


@pytest.mark.parametrize(
    "between",
    [
        [""],
        ["", ""],
        ["Time (s),Travel (mm),Force (N)"],
        ["", "Test at 0.52 m/s"],
        ["", "Test two", "Time (s),Travel (mm),Force (N)"],
    ],
)
def test_blocks(between: list[str]) -> None:
    """Empty lines, a header again, a label, or both between two tests."""
    record = check(cycle_text(TESTS, between=between), count=2)
    if "Test at 0.52 m/s" in between:
        assert record.tests[1].label == "Test at 0.52 m/s"


def test_blocks_with_a_row_of_units_each() -> None:
    """Names and units stand above every block."""
    names, units = "Time,Position,Load", "s,mm,N"
    text = cycle_text(TESTS, header=("Time", "Position", "Load"), between=["", names, units])
    check(text.replace(names + "\n", names + "\n" + units + "\n", 1), count=2)


def test_a_time_that_starts_again_is_a_new_test() -> None:
    """Two tests without anything between them."""
    check(cycle_text(TESTS), count=2)


@pytest.mark.parametrize(
    ("name", "marks"),
    [("Test", ("1", "2")), ("Test speed (m/s)", ("0.13", "0.52")), ("Versuch", ("langsam", "schnell"))],
)
def test_a_column_of_tests(name: str, marks: tuple[str, str]) -> None:
    """A column says to which test a row belongs; the time runs through."""
    second = bench(0.52, start=5.0 + float(TESTS[0].time[-1]))
    lines = [f"{name},Time (s),Travel (mm),Force (N)"]
    for mark, test in zip(marks, (TESTS[0], second), strict=True):
        lines += [f"{mark},{line}" for line in cycle_text((test,)).splitlines()[1:]]
    record = check("\n".join(lines), count=2)
    assert record.tests[1].label == f"{name} {marks[1]}"


def test_a_velocity_is_taken_along() -> None:
    """A fourth column with the velocity."""
    header = ("Time (s)", "Travel (mm)", "Force (N)", "Velocity (mm/s)")
    check(
        cycle_text(header=header, units=("s", "mm", "N", "mm/s"), digits=(5, 3, 2, 2), velocity=True),
        velocity=True,
    )


def test_columns_in_any_order_with_others_between() -> None:
    """Columns that play no role are left alone, and said."""
    lines = ["Index,Force (N),Temperature (degC),Time (s),Wheel travel (mm),Travel (mm)"]
    for i, line in enumerate(cycle_text().splitlines()[1:]):
        t, x, f = line.split(",")
        lines.append(f"{i},{f},21.5,{t},{2 * float(x):.3f},{x}")
    reading = read_bytes("\n".join(lines).encode(), "bench.csv")

    check("\n".join(lines))
    assert any("not used" in d and "Wheel travel" in d for d in reading.decided)


def test_headerless_columns_named_by_the_user() -> None:
    """Columns without names are "column 1" and so on."""
    options = ReadOptions(
        kind="cycle",
        columns={"time": "column 1", "travel": "column 2", "force": "column 3"},
        units={"time": "s", "travel": "mm", "force": "N"},
    )
    check(cycle_text(header=()), options)


def test_time_from_a_rate() -> None:
    """A file without time and with a rate, in the settings or in the title."""
    truth = bench()
    rate = 1.0 / (truth.time[1] - truth.time[0])
    lines = ["Travel (mm),Force (N)"] + [line.split(",", 1)[1] for line in cycle_text().splitlines()[1:]]
    check("\n".join(lines), ReadOptions(settings={"rate": f"{rate} Hz"}))
    check("\n".join([f"Sampling rate: {rate:.4f} Hz", *lines]))


def test_large_files_read_like_small_ones() -> None:
    """Both ways of reading rows give the same numbers, with blocks, gaps and words."""
    long = (bench(0.13, cycles=30, samples=160), bench(0.52, cycles=30, samples=160, start=100.0))
    text = cycle_text(long, between=["", "Test two", "Time (s),Travel (mm),Force (N)"]).splitlines()
    text[100] = text[100].rsplit(",", 1)[0] + ",NaN"
    text.insert(300, "# a comment")
    small = ["\n".join(text[:4804]), "\n".join([text[0], *text[4806:]])]
    assert len("\n".join(text)) > 150_000
    record = read_bytes("\n".join(text).encode(), "bench.csv").record
    assert isinstance(record, CycleRecord)
    assert record.quality.dropouts == 1
    assert record.tests[1].label == "Test two"
    for found, part in zip(record.tests, small, strict=True):
        assert len(part) < 150_000
        alone = read_bytes(part.encode(), "bench.csv", INWARD).record
        assert isinstance(alone, CycleRecord)
        for name in ("time", "travel", "force"):
            np.testing.assert_array_equal(getattr(found, name), getattr(alone.tests[0], name))


@pytest.mark.parametrize("style", ["spaces", "stamps", "words"])
def test_other_large_files(style: str) -> None:
    """Aligned columns, time stamps and words at full speed."""
    truth = bench(0.26, cycles=60, samples=160)
    lines = []
    for line in cycle_text((truth,)).splitlines()[1:]:
        t, x, f = line.split(",")
        if style == "spaces":
            lines.append(f"  {t}   {x}    {f} ")
        elif style == "stamps":
            lines.append(f"12:00:{float(t):08.5f},{x},{f}")
        else:
            lines.append(f"slow run,{t},{x},{f}")
    header = {
        "spaces": "time_s travel_mm force_N",
        "stamps": "Time,Travel (mm),Force (N)",
        "words": "Test,Time (s),Travel (mm),Force (N)",
    }[style]
    data = "\n".join([header, *lines]).encode()
    assert len(data) > 150_000
    record = read_bytes(data, "bench.csv").record
    assert isinstance(record, CycleRecord)
    np.testing.assert_allclose(record.tests[0].time - record.tests[0].time[0], truth.time, atol=2e-5)
    np.testing.assert_allclose(record.tests[0].force, truth.force, atol=0.01)


@pytest.mark.parametrize("rows", [240, 9000])
def test_an_empty_line_between_any_two_rows_parts_nothing(rows: int) -> None:
    """A file whose line ends were doubled, small and large."""
    truth = bench(0.26, cycles=max(3, rows // 80))
    record = read_bytes(cycle_text((truth,)).replace("\n", "\n\n").encode(), "bench.csv").record
    assert isinstance(record, CycleRecord)
    assert len(record.tests) == 1
    np.testing.assert_allclose(record.tests[0].force, truth.force, atol=0.01)


def test_many_blocks_of_one_running_test_are_one() -> None:
    """Empty lines here and there in a running test."""
    truth = bench(0.26, cycles=20)
    lines = cycle_text((truth,)).splitlines()
    for i in range(len(lines) - 1, 1, -7):
        lines.insert(i, "")
    record = read_bytes("\n".join(lines).encode(), "bench.csv").record
    assert isinstance(record, CycleRecord)
    np.testing.assert_allclose(record.tests[0].force, truth.force, atol=0.01)
