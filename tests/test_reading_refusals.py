"""Bad input: every file is read rightly or refused with one sentence that says where and what."""

from __future__ import annotations

import gzip
from pathlib import Path

import numpy as np
import pytest

from tests.reading_texts import bench, cycle_text
from tuner.errors import InputRefused, ReadError, TunerError, UnitError, UsageError
from tuner.reading import SETTINGS, ReadOptions, preview, read_bytes, read_file, read_values
from tuner.wording.doubts import note_text

TEXT = cycle_text((bench(0.13),))
LINES = TEXT.splitlines()
HEAD = LINES[0]


def row(i: int, *cells: str | None) -> str:
    """Write the file with other cells in line `i` (counted from 1); None leaves a cell as it is."""
    lines = list(LINES)
    old = lines[i - 1].split(",")
    lines[i - 1] = ",".join(o if c is None else c for o, c in zip(old, cells, strict=True))
    return "\n".join(lines)


def order(*columns: int) -> str:
    """Swap the columns below a header that stays."""
    return "\n".join([HEAD, *(",".join(line.split(",")[c] for c in columns) for line in LINES[1:])])


def column(k: int, value: str, every: int = 1) -> str:
    """Write `value` into column `k` of every so many rows."""
    lines = [HEAD]
    for i, line in enumerate(LINES[1:]):
        cells = line.split(",")
        if i % every == 0:
            cells[k] = value
        lines.append(",".join(cells))
    return "\n".join(lines)


NOISE = np.random.default_rng(5).bytes(4000)

BAD: dict[str, tuple[str | bytes, str]] = {
    "empty": (b"", "is empty"),
    "only blanks": ("\n\n  \n", "is empty"),
    "only zeros": (b"\0" * 500, "is empty"),
    "header only": (HEAD + "\n", "rows of numbers"),
    "comments only": ("# a\n# b\n", "rows of numbers"),
    "words": ("Dear builder,\nhere is my file.\n", "rows of numbers"),
    "one column": ("1\n2\n3\n", "at least two columns"),
    "delimiters only": (";;;\n;;;\n", "rows of numbers"),
    "one row": (HEAD + "\n0,0,0\n", "at least 8 rows"),
    "noise": (NOISE, "must be text; line"),
    "noise after a header": (HEAD.encode() + b"\n0,1,2\n" + NOISE, "must be text; line"),
    "a zero byte": (
        TEXT[:900].encode() + b"\0" + TEXT[900:].encode(),
        f"must be text; line {TEXT.count(chr(10), 0, 900) + 1} ",
    ),
    "cut gz": (gzip.compress(TEXT.encode())[:-60], "ends too early"),
    "damaged gz": (
        gzip.compress(TEXT.encode())[:80] + b"\x55\xaa\x55" + gzip.compress(TEXT.encode())[83:],
        "gz file",
    ),
    "gz and more": (gzip.compress(TEXT.encode()) + b"more", "other bytes after its end"),
    "spreadsheet": (b"PK\x03\x04" + NOISE, "spreadsheet"),
    "picture": (b"\x89PNG\r\n\x1a\n" + NOISE, "picture"),
    "cut UTF-16": (TEXT.encode("utf-16")[:-1], "UTF-16"),
    "million columns": (",".join(["1"] * 1_000_000) + "\n", "lines of at most"),
    "thousands of columns": ((",".join(["1"] * 3000) + "\n") * 5, "at most 1000 columns; line 1"),
    "huge line": (b"7" * 10_000_000, "lines of at most"),
    "huge line later": (TEXT + "9" * 100_000 + "\n", "line 243"),
    "text in a number": (
        row(51, None, "12x4", None),
        "line 51: column 'Travel [(]mm[)]' needs a number; found '12x4'",
    ),
    "cell missing": (
        TEXT.replace(LINES[50], LINES[50].rsplit(",", 1)[0]),
        "line 51: needs 3 cells like the other rows; found 2",
    ),
    "cell too many": (
        TEXT.replace(LINES[50], LINES[50] + ",1"),
        "line 51: needs 3 cells like the other rows; found 4",
    ),
    "beyond all numbers": (row(51, None, None, "1e999"), "line 51"),
    "one time back": (row(51, "0.00001", None, None), "line 51 is earlier"),
    "one time back a little": (row(51, LINES[47].split(",")[0], None, None), "line 51 is earlier"),
    "falling time": ("\n".join([HEAD, *LINES[:0:-1]]), "time that rises"),
    "standing time": (column(0, "0.5"), "time that rises"),
    "no force": (column(2, "nan"), "whole rows"),
    "a third of the forces missing": (column(2, "", 3), "81 of 241 rows lack one, the first in line 2"),
    "constant force": (column(2, "100.0"), "force that changes"),
    "constant travel": (column(1, "5.0"), "stroke of at least"),
    "never to and fro": (
        "\n".join([HEAD, *(f"{i / 100},{i / 10},{100 + i % 3}" for i in range(300))]),
        "whole cycle",
    ),
    "time and travel swapped": (order(1, 0, 2), "time that rises"),
    "time and force swapped": (order(2, 1, 0), "time that rises"),
    "travel and force swapped": (order(0, 2, 1), "look swapped"),
    "metres": (TEXT.replace("(mm)", "(m)"), "stroke of at most 2 m"),
    "milliseconds": (TEXT.replace("(s)", "(ms)"), "speed of at most 20 m/s"),
    "kilonewtons": (TEXT.replace("(N)", "(kN)"), "force of at most 200000 N"),
    "volts": (TEXT.replace("(N)", "(V)"), "needs a unit of force"),
    "a speed for a force": (TEXT.replace("(N)", "(mm/s)"), "needs a unit of force"),
    "no unit": (TEXT.replace(" (N)", ""), "column 'Force' needs a unit of force; the file names none"),
    "no such unit": (TEXT.replace("(N)", "(Nn)"), "unit of force"),
    "unknown name": (TEXT.replace("Force", "Gizmo"), "needs a column with the force"),
    "two forces": (
        "\n".join([HEAD + ",Load (N)", *(line + ",1" for line in LINES[1:])]),
        "'Force [(]N[)]' or 'Load [(]N[)]'",
    ),
    "no names": ("\n".join(LINES[1:]), "header that names its columns"),
    "a name too few": (TEXT.replace("Time (s),", "Time (s) ", 1), "one name per column; line 1 has 2 names"),
    "two decimal signs": (
        TEXT.replace(",", ";").replace("25.000", "25,000", 1).replace("0.00", "0,00", 3),
        "one decimal sign",
    ),
    "comma for everything": (TEXT.replace(".", ","), "one name per column"),
    "digits in groups, open": (
        "Speed (mm/s);Compression (N);Rebound (N)\n50;234;890\n130;1.345;2.345\n",
        "can be read both ways",
    ),
    "thousands now and then": (
        (
            HEAD.replace(",", ";")
            + "\n"
            + "\n".join(f"{i / 100};{i}.5;{1000 + i}.5" for i in range(50))
            + "\n1.5;2.5;1,234.5\n"
        ),
        "thousands separators in every number",
    ),
    "other table below": (
        TEXT + "\nSpeed (m/s),Comp (N),Reb (N)\n0.1,100,-200\n",
        "every block needs the columns of line 1",
    ),
    "rubbish below": (TEXT + "abc,def,ghi\n" + "\n".join(LINES[1:]), "every block needs the columns"),
    "no energy": (
        "\n".join(
            [
                HEAD,
                *(f"{i / 100},{20 * np.sin(i / 8):.3f},{900 + 300 * np.sin(i / 8):.2f}" for i in range(400)),
            ]
        ),
        "takes energy out",
    ),
    "a sweep without side": ("Speed (m/s),Force (N)\n0.1,100\n0.2,180\n", "which side was tested"),
    "an absurdly fast sweep": (
        "Speed (m/s),Compression (N),Rebound (N)\n100,100,-200\n200,200,-300\n",
        "speed of at most 20 m/s",
    ),
    "an absurdly soft sweep": (
        "Speed (m/s),Compression (N),Rebound (N)\n1,0.1,-0.2\n2,0.2,-0.3\n",
        "force over speed between",
    ),
    "no travel": (
        HEAD.replace("Travel (mm)", "Velocity (mm/s)") + TEXT[len(HEAD) :],
        "needs a column with the shaft travel to be a cycle record",
    ),
    "sides unknown": ("Side,Speed (m/s),Force (N)\nleft,0.1,100\nright,0.2,200\n", "line 2 holds 'left'"),
    "sides as numbers": (
        "Side,Speed (m/s),Force (N)\n1,0.1,100\n2,0.1,200\n",
        "needs words in column 'Side'",
    ),
    "load cell far off its zero": (
        "velocity (m/s),force (N)\n0.1,890\n0.3,1070\n0.5,1250\n-0.1,600\n-0.3,100\n-0.5,-500\n",
        "forces that resist the motion both ways",
    ),
    "metres that were millimetres": (
        "speed (mm/s),compression (N),rebound (N)\n0.05,44,99\n0.1,89,198\n0.3,243,450\n",
        "highest speed of at least 0.002 m/s",
    ),
    "rpm without stroke": ("rpm,Compression (N),Rebound (N)\n60,100,200\n120,200,300\n", "needs the stroke"),
    "weight of nothing": (
        "direction,mass (kg),distance (mm),time (s)\ncompression,0,100,1\n",
        "line 2: mass must be positive",
    ),
    "sideways": ("direction,mass (kg),distance (mm),time (s)\nsideways,10,100,1\n", "got 'sideways'"),
    "timed push": (
        "direction,mass (kg),distance (mm),time (s)\npush,10,100,1\ncompression,9,100,2\n",
        "'push' is the slow push",
    ),
    "push only": (
        "direction,mass (kg),distance (mm),time (s)\npush,10,,\nreturn,9,,\n",
        "rows of numbers|weight that sank",
    ),
    "weights without direction": (
        "mass (kg),distance (mm),time (s)\n10,100,1\n",
        "direction in which the weight sank",
    ),
    "frames without rate": (
        "direction,mass (kg),distance (mm),frames\ncompression,10,100,230\n",
        "frame rate",
    ),
    "a hundred metres": (
        "direction,mass (kg),distance (m),time (s)\ncompression,10,100,1\n",
        "distance of at most 2 m",
    ),
}


@pytest.mark.parametrize("name", list(BAD))
def test_bad_files_are_refused_with_one_sentence(name: str) -> None:
    """One sentence without a line break; a preview shows the same problem and never raises."""
    given, words = BAD[name]
    data = given.encode() if isinstance(given, str) else given
    with pytest.raises(InputRefused, match=words) as refusal:
        read_bytes(data, "bench.csv")
    assert refusal.value.message
    assert "\n" not in refusal.value.message
    assert len(refusal.value.message) < 400
    problem = preview(data, "bench.csv").problem
    assert isinstance(problem, TunerError)


def test_missing_values_are_counted_and_noted() -> None:
    """A tenth of the forces missing: read, with a note that says how many."""
    record = read_bytes(column(2, "NaN", 10).encode(), "bench.csv").record

    assert record.quality.dropouts == 25
    assert any(n.code == "missing-rows" and "25 of 241 rows" in note_text(n) for n in record.quality.notes)


@pytest.mark.parametrize(
    "word", ["", "NaN", "nan", "N/A", "null", "-", "#DIV/0!", "OL", "inf", "-Inf", "n.v.", "s/d"]
)
def test_words_for_nothing(word: str) -> None:
    """What loggers and spreadsheets write where nothing was measured."""
    record = read_bytes(row(60, None, None, word).encode(), "bench.csv").record

    assert record.quality.dropouts == 1


def test_a_cut_off_last_line_is_left_out_and_noted() -> None:
    """A copy that stopped in the middle of a row."""
    record = read_bytes((TEXT + "9.9,4").encode(), "bench.csv").record

    assert record.provenance.rows == 241
    assert "cut-off" in {n.code for n in record.quality.notes}


def test_a_file_that_is_not_there() -> None:
    """A path without a file, and a folder."""
    with pytest.raises(ReadError, match="must be a file that can be read; No such file"):
        read_file("nowhere/bench.csv")
    with pytest.raises(ReadError, match="must be a file that can be read"):
        read_file(Path(__file__).parent)


@pytest.mark.parametrize(
    ("options", "words", "hint"),
    [
        (ReadOptions(kind="cycles"), "no record kind is called 'cycles'", "'cycle'"),  # type: ignore[arg-type]
        (ReadOptions(columns={"tavel": "x"}), "no column plays the role 'tavel'", "'travel'"),
        (ReadOptions(units={"forc": "N"}), "no column plays the role 'forc'", "'force'"),
        (ReadOptions(columns={"force": "Forec (N)"}), "no column is called 'Forec", "'Force"),
        (ReadOptions(settings={"positive_travl": "rebound"}), "no setting is called", "'positive_travel'"),
        (
            ReadOptions(settings={"positive_travel": "up"}),
            "must be compression or rebound; got 'up'",
            "counts",
        ),
        (ReadOptions(settings={"temperature": "23"}), "between 200 and 500 K; got '23'", "bare number"),
        (ReadOptions(settings={"stroke": "50"}), "between 0.0001 and 2 m; got '50'", "bare number"),
        (ReadOptions(settings={"viscosity": "46"}), "between", "bare number"),
        (ReadOptions(settings={"decimal": "dot"}), "must be point or comma", ""),
        (ReadOptions(settings={"clicks": "many"}), "setting clicks", ""),
        (ReadOptions(units={"test": "N"}), "has no unit", ""),
        (ReadOptions(kind="cycle", columns={"mass": "Force (N)"}), "a cycle record has no 'mass'", ""),
    ],
)
def test_wrong_options_name_the_nearest(options: ReadOptions, words: str, hint: str) -> None:
    """An unknown name is refused with the nearest one."""
    with pytest.raises(TunerError, match=words) as refusal:
        read_bytes(TEXT.encode(), "bench.csv", options)
    assert hint in refusal.value.hint


def test_units_of_the_wrong_kind_are_refused() -> None:
    """A speed cannot be the unit of a force."""
    with pytest.raises(UnitError, match="--unit force needs a unit of force"):
        read_bytes(TEXT.encode(), "bench.csv", ReadOptions(units={"force": "mm/s"}))


def test_choices_settle_what_is_ambiguous() -> None:
    """Two forces: the user's choice is taken, and a unit with it."""
    text = "\n".join([HEAD.replace(" (N)", "") + ",Load (N)", *(line + ",1" for line in LINES[1:])])
    options = ReadOptions(columns={"force": "Force"}, units={"force": "lbf"})
    record = read_bytes(text.encode(), "bench.csv", options).record

    use = next(c for c in record.provenance.columns if c.role == "force")
    assert (use.name, use.unit) == ("Force", "lbf")


def test_settings_have_a_meaning_each() -> None:
    """Every setting says what it is, and the choices what they are."""
    for name, setting in SETTINGS.items():
        assert setting.meaning, name
        assert (setting.kind == "choice") == bool(setting.choices), name


def test_values_of_odd_shapes_are_refused() -> None:
    """Columns of unequal length, tables in a column, objects."""
    good = {"time": np.arange(20.0), "travel": np.arange(20.0), "force": np.arange(20.0)}
    for other, words in (
        (np.arange(19.0), "one length"),
        (np.ones((20, 2)), "one-dimensional"),
        ([object()] * 20, "numbers or words"),
        (["a"] * 20, "needs numbers"),
    ):
        with pytest.raises(TunerError, match=words):
            read_values(good | {"force": other}, "cycle")
    with pytest.raises(ReadError, match="one length"):
        read_values({}, "cycle")


def test_a_column_named_twice_is_refused() -> None:
    """`--column` must name one column."""
    text = TEXT.replace("Travel (mm)", "Force (N)", 1)
    with pytest.raises(UsageError, match="2 columns are called"):
        read_bytes(text.encode(), "bench.csv", ReadOptions(columns={"force": "Force (N)"}))


def test_a_machine_file_is_no_recording(tmp_path: Path) -> None:
    path = tmp_path / "buggy.toml"
    path.write_text('[corners.rear]\nsprung_mass = "80 kg"\nspring_rate = "25 N/mm"\nmotion_ratio = 0.7\n')
    with pytest.raises(ReadError, match="it looks like a machine file"):
        read_file(path)
