"""Whichever way a file counts, the record has the house's signs; or the file is refused."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from tests.reading_texts import SWEEP, bench, cycle_text
from tuner.errors import ReadError
from tuner.reading import ReadOptions, read_bytes, read_values
from tuner.records import CycleRecord, SweepRecord

SIGNS = list(itertools.product((1, -1), (1, -1)))


def read(text: str, **settings: str) -> CycleRecord:
    record = read_bytes(text.encode(), "bench.csv", ReadOptions(settings=settings)).record
    assert isinstance(record, CycleRecord)
    return record


def same(record: CycleRecord, gas: float = 140.0) -> None:
    truth = bench(0.13, gas=gas)
    np.testing.assert_allclose(record.tests[0].travel, truth.travel, atol=1e-5)
    np.testing.assert_allclose(record.tests[0].force, truth.force, atol=0.01)
    if record.tests[0].velocity is not None:
        np.testing.assert_allclose(record.tests[0].velocity, truth.velocity, atol=1e-4)


@pytest.mark.parametrize(("travel", "force"), SIGNS)
def test_gas_force_says_which_way_is_compression(travel: int, force: int) -> None:
    """140 N of gas against 15 N at the turns: the ends are pushed apart."""
    same(read(cycle_text((bench(0.13),), travel_sign=travel, force_sign=force)))


@pytest.mark.parametrize(("travel", "force"), SIGNS)
def test_the_users_word_says_which_way_is_compression(travel: int, force: int) -> None:
    """One of the two settings is enough; the damper's work gives the other sign."""
    text = cycle_text((bench(0.13, gas=0.0),), travel_sign=travel, force_sign=force)

    same(read(text, positive_travel="compression" if travel > 0 else "rebound"), 0.0)
    same(read(text, positive_force="compression" if force > 0 else "rebound"), 0.0)


@pytest.mark.parametrize(("travel", "force"), SIGNS)
def test_without_gas_and_words_it_is_refused(travel: int, force: int) -> None:
    """Nothing tells the sides apart, so nobody guesses."""
    with pytest.raises(ReadError, match="which way is compression") as refusal:
        read(cycle_text((bench(0.13, gas=0.0),), travel_sign=travel, force_sign=force))
    assert "--set positive_travel=compression" in refusal.value.hint


@pytest.mark.parametrize("offset", [-30.0, 30.0])
def test_a_load_cell_that_is_off_by_30_newtons_is_no_gas(offset: float) -> None:
    """What an untared load cell or the weight of a fork can do is not enough to tell the sides."""
    truth = bench(0.13, gas=0.0)
    shifted = type(truth)(truth.time, truth.travel, truth.velocity, truth.force + offset)
    with pytest.raises(ReadError, match="which way is compression"):
        read(cycle_text((shifted,)))


def test_a_force_that_lags_is_no_gas() -> None:
    """Forces that come late differ at the two ends of the stroke: no static force."""
    truth = bench(0.52, gas=0.0, samples=400)
    late = type(truth)(truth.time, truth.travel, truth.velocity, np.roll(truth.force, 12))
    with pytest.raises(ReadError, match="which way is compression"):
        read(cycle_text((late,)))


@pytest.mark.parametrize(
    ("header", "travel", "force"),
    [
        (("Time (s)", "Travel (mm, + = compression)", "Force (N)"), 1, -1),
        (("Time (s)", "Travel, rebound positive (mm)", "Force (N)"), -1, 1),
        (("Time (s)", "Travel (mm)", "Force (N) (compression +)"), 1, 1),
        (("Time (s)", "Travel (mm)", "Force [N], tension positive"), 1, -1),
        (("Zeit (s)", "Weg (mm)", "Kraft (N), Druck positiv"), -1, 1),
        (("Zeit (s)", "Weg (mm)", "Kraft (N), Zug positiv"), 1, -1),
        (("Zeit (s)", "Einfederung (mm)", "Kraft (N)"), 1, 1),
        (("Temps (s)", "Course (mm), détente positive", "Effort (N)"), -1, -1),
        (("Tiempo (s)", "Recorrido (mm)", "Fuerza (N), compresión negativa"), 1, -1),
        (("Time (s)", "Extension (mm)", "Force (N)"), -1, 1),
        (("Time (s)", "Travel from full extension (mm)", "Force (N)"), 1, -1),
        (("Time (s)", "Position from full compression (mm)", "Force (N)"), -1, -1),
    ],
)
def test_words_in_the_header_say_it(header: tuple[str, ...], travel: int, force: int) -> None:
    """Words in the names of the columns, in four languages."""
    text = cycle_text(
        (bench(0.13, gas=0.0),), header=header, delimiter=";", travel_sign=travel, force_sign=force
    )
    same(read(text), 0.0)


@pytest.mark.parametrize(
    ("line", "travel"),
    [
        ("# compression is positive", 1),
        ("# displacement: rebound positive", -1),
        ("Druck positiv, Zug negativ", 1),
        ("# travel 0 = fully extended", 1),
    ],
)
def test_words_above_the_header_say_it(line: str, travel: int) -> None:
    """A remark in the title block or in a comment."""
    text = cycle_text((bench(0.13, gas=0.0),), before=[line], travel_sign=travel, force_sign=travel)
    same(read(text), 0.0)


@pytest.mark.parametrize(
    "line", ["Damper rear left - rebound 8 clicks", "# rebound test", "Rebound +2, compression 5 clicks"]
)
def test_words_that_say_nothing_about_signs_decide_nothing(line: str) -> None:
    """A dash is no minus, and clicks are no signs."""
    with pytest.raises(ReadError, match="which way is compression"):
        read(cycle_text((bench(0.13, gas=0.0),), before=[line]))


def test_sayings_that_contradict_the_work_are_refused() -> None:
    """Both settings at once must fit a damper that takes energy out."""
    text = cycle_text((bench(0.13),))
    with pytest.raises(ReadError, match="contradict each other"):
        read(text, positive_travel="compression", positive_force="rebound")
    with pytest.raises(ReadError, match="contradict each other"):
        read(
            cycle_text((bench(0.13),), before=["# travel: compression positive", "# force: rebound positive"])
        )


def test_the_users_word_overrules_the_file_and_a_doubt_is_noted() -> None:
    """With the user's sign the gas would pull: that is said."""
    text = cycle_text((bench(0.13),), before=["# compression is positive"])
    reading = read_bytes(text.encode(), "bench.csv", ReadOptions(settings={"positive_travel": "rebound"}))

    assert any("overrules" in d for d in reading.decided)
    assert "gas-sign" in {n.code for n in reading.record.quality.notes}


@pytest.mark.parametrize("sign", [1, -1])
def test_a_velocity_counted_against_the_travel_is_turned(sign: int) -> None:
    """The velocity's own sign does not matter."""
    truth = bench(0.13)
    lines = ["Time (s),Travel (mm),Force (N),Velocity (m/s)"]
    for line, v in zip(cycle_text((truth,)).splitlines()[1:], truth.velocity, strict=True):
        lines.append(f"{line},{sign * v:.5f}")
    same(read("\n".join(lines)))


@pytest.mark.parametrize(("unit", "factor"), [("mm/s", 1.0), ("in/s", 1.0), ("m/s", 1.15)])
def test_a_velocity_that_is_not_the_slope_of_the_travel_is_refused(unit: str, factor: float) -> None:
    """A wrong unit of velocity, travel or time shows in their ratio."""
    truth = bench(0.13)
    lines = [f"Time (s),Travel (mm),Force (N),Velocity ({unit})"]
    for line, v in zip(cycle_text((truth,)).splitlines()[1:], truth.velocity, strict=True):
        lines.append(f"{line},{factor * v:.5f}")
    with pytest.raises(ReadError, match="slope of its travel"):
        read("\n".join(lines))


def test_one_test_that_counts_the_other_way_round_is_refused() -> None:
    """Its loop would give energy; the line where it begins is said."""
    tests = [bench(0.05), bench(0.13, start=50.0), bench(0.26, start=90.0)]
    tests[1] = replace(tests[1], force=-tests[1].force)
    with pytest.raises(ReadError, match="in one way in all tests"):
        read(cycle_text(tests, between=[""]))


def sweep(text: str, **settings: str) -> tuple[np.ndarray, np.ndarray]:
    record = read_bytes(text.encode(), "sweep.csv", ReadOptions(settings=settings)).record
    assert isinstance(record, SweepRecord)
    order = np.argsort(record.velocity)
    return record.velocity[order], record.force[order]


VELOCITY = np.array([*(-v for v in reversed(SWEEP["speed"])), *SWEEP["speed"]])
FORCE = np.array([*reversed(SWEEP["rebound"]), *SWEEP["compression"]])


def points(v_sign: int = 1, f_sign: int = 1) -> list[tuple[float, float]]:
    return [(v_sign * v, f_sign * f) for v, f in zip(VELOCITY, FORCE, strict=True)]


@pytest.mark.parametrize(("compression", "rebound"), SIGNS)
def test_a_wide_sweep_with_any_signs(compression: int, rebound: int) -> None:
    """One column per side, each with its own sign of force."""
    lines = ["Speed (m/s);Rebound (N);Compression (N)"]
    for v, c, r in zip(SWEEP["speed"], SWEEP["compression"], SWEEP["rebound"], strict=True):
        lines.append(f"{v};{rebound * r};{compression * c}")
    v, f = sweep("\n".join(lines))

    np.testing.assert_allclose(v, VELOCITY)
    np.testing.assert_allclose(f, FORCE)


@pytest.mark.parametrize(
    "header",
    [
        "comp speed (m/s);comp force (N);reb speed (m/s);reb force (N)",
        "v Druck [m/s];F Druck [N];v Zug [m/s];F Zug [N]",
        "Druckgeschwindigkeit / m/s;Druckkraft / N;Zuggeschwindigkeit / m/s;Zugkraft / N",
        "vitesse compression (m/s);effort compression (N);vitesse détente (m/s);effort détente (N)",
        "velocidad compresión (m/s);fuerza compresión (N);velocidad extensión (m/s);fuerza extensión (N)",
    ],
)
def test_a_wide_sweep_with_speeds_of_each_side(header: str) -> None:
    """Four columns, in four languages."""
    lines = [header]
    for v, c, r in zip(SWEEP["speed"], SWEEP["compression"], SWEEP["rebound"], strict=True):
        lines.append(f"{v};{c};{-v};{r}")
    v, f = sweep("\n".join(lines))

    np.testing.assert_allclose(v, VELOCITY)
    np.testing.assert_allclose(f, FORCE)


@pytest.mark.parametrize(("v_sign", "f_sign"), SIGNS)
def test_a_signed_sweep(v_sign: int, f_sign: int) -> None:
    """Signed points need one word about one sign."""
    text = "velocity (m/s),force (N)\n" + "\n".join(f"{v},{f}" for v, f in points(v_sign, f_sign))
    side = "compression" if v_sign > 0 else "rebound"
    for settings in (
        {"positive_travel": side},
        {"positive_force": "compression" if f_sign > 0 else "rebound"},
    ):
        v, f = sweep(text, **settings)
        np.testing.assert_allclose(v, VELOCITY)
        np.testing.assert_allclose(f, FORCE)
    with pytest.raises(ReadError, match="which way is compression"):
        sweep(text)


@pytest.mark.parametrize(
    "words",
    [
        ("compression", "rebound"),
        ("bump", "ext"),
        ("Druck", "Zug"),
        ("Druckstufe", "Zugstufe"),
        ("compression", "détente"),
        ("compresión", "rebote"),
        ("C", "R"),
        ("in", "out"),
    ],
)
@pytest.mark.parametrize("signed", [True, False])
def test_a_sweep_with_a_column_of_sides(words: tuple[str, str], signed: bool) -> None:
    """A word in every row."""
    lines = ["Side,Speed (m/s),Force (N)"]
    for v, f in points():
        lines.append(f"{words[0 if v > 0 else 1]},{v if signed else abs(v)},{f if signed else abs(f)}")
    v, f = sweep("\n".join(lines))

    np.testing.assert_allclose(v, VELOCITY)
    np.testing.assert_allclose(f, FORCE)


@pytest.mark.parametrize(
    "words", [("Compression", "Rebound"), ("Druckstufe:", "Zugstufe:"), ("compresión", "rebote")]
)
@pytest.mark.parametrize("order", [1, -1])
def test_a_sweep_with_a_block_for_each_side(words: tuple[str, str], order: int) -> None:
    """The side stands above each block, over a header of its own; no setting may then say another."""
    blocks = []
    for sign, word in list(zip((1.0, -1.0), words, strict=True))[::order]:
        rows = [f"{abs(v)},{abs(f)}" for v, f in points() if v * sign > 0]
        blocks.append("\n".join([word, "Speed (m/s),Force (N)", *rows]))
    text = "\n\n".join(blocks) + "\n"
    v, f = sweep(text)

    np.testing.assert_allclose(v, VELOCITY)
    np.testing.assert_allclose(f, FORCE)
    with pytest.raises(ReadError, match="holds both"):
        sweep(text, side="compression")
    with pytest.raises(ReadError, match="which side was tested"):
        sweep(text.replace(words[0], "first run"))
    third = text + "\nwarm\nSpeed (m/s),Force (N)\n0.1,90\n0.2,180\n"
    with pytest.raises(ReadError, match="side of every block or of none"):
        sweep(third)


@pytest.mark.parametrize(
    "header",
    [
        "Compression peak (N),Rebound peak (N)",
        "Peak compression (N),Peak rebound (N)",
        "Druck max. (N),Zug max. (N)",
        "Fmax Druck [N],Fmax Zug [N]",
        "Compression pic / N,Détente pic / N",
        "compresión máxima (N),rebote máximo (N)",
    ],
)
def test_the_highest_force_of_each_side(header: str) -> None:
    """Peak, max and the like beside a side name its highest force."""
    by_speed = dict(points())
    lines = [f"Speed (m/s),{header}", *(f"{v},{f},{by_speed[-v]}" for v, f in points() if v > 0)]
    v, f = sweep("\n".join(lines))

    np.testing.assert_allclose(v, VELOCITY)
    np.testing.assert_allclose(f, FORCE)


def test_speeds_without_sign_and_forces_with_one() -> None:
    """The sign of the force says the side, when somebody says which one is positive."""
    text = "speed (m/s),force (N)\n" + "\n".join(f"{abs(v)},{f}" for v, f in points())
    v, f = sweep(text, positive_force="compression")
    np.testing.assert_allclose(v, VELOCITY)
    np.testing.assert_allclose(f, FORCE)
    with pytest.raises(ReadError, match="side"):
        sweep(text)


def test_a_sweep_of_one_side() -> None:
    """All speeds positive: the user says the side, or nobody guesses."""
    text = "speed (m/s),force (N)\n0.1,-200\n0.2,-350\n0.4,-800\n"
    v, f = sweep(text, side="rebound")
    np.testing.assert_allclose(v, [-0.4, -0.2, -0.1])
    np.testing.assert_allclose(f, [-800, -350, -200])
    v, f = sweep(text, side="compression")
    np.testing.assert_allclose(v, [0.1, 0.2, 0.4])
    np.testing.assert_allclose(f, [200, 350, 800])
    with pytest.raises(ReadError, match="which side was tested"):
        sweep(text)


def test_gas_in_a_sweep_shows_at_the_slowest_speeds() -> None:
    """A force that pushes in both directions at low speed is the gas."""
    rows = [(0.005, 150.0), (-0.005, 110.0), (0.1, 240.0), (-0.1, -60.0), (0.5, 700.0), (-0.5, -900.0)]
    for sign in (1, -1):
        text = "velocity (m/s),force (N)\n" + "\n".join(f"{sign * v},{sign * f}" for v, f in rows)
        v, f = sweep(text)
        assert (np.sign(v[[0, -1]]) == [-1, 1]).all()
        assert f[-1] == 700.0


def test_stroke_and_strokes_per_minute_give_the_peak_speed() -> None:
    """The peak of a sine, pi S n: 60 a minute at 80 and 100 mm give 0.08 pi and 0.1 pi m/s (QC/T 545-1999: below)."""
    text = "Stroke (mm),rpm,Compression (N),Rebound (N)\n80,60,305.5,1316\n100,60,352.5,1222\n"
    v, f = sweep(text)
    np.testing.assert_allclose(v, [-0.1 * np.pi, -0.08 * np.pi, 0.08 * np.pi, 0.1 * np.pi], rtol=1e-9)
    np.testing.assert_allclose(f, [-1222, -1316, 305.5, 352.5])

    for hertz in ("frequency (Hz),compression (N),rebound (N)\n1.0,305.5,1316\n2.0,500,1700\n",):
        v, f = sweep(hertz, stroke="80 mm")
        np.testing.assert_allclose(v, [-0.502655, -0.251327, 0.251327, 0.502655], rtol=1e-5)


def test_stroke_and_strokes_per_minute_may_come_from_the_settings() -> None:
    """QC/T 545-1999: 100 mm and 100 strokes per minute peak at 0.5236 m/s."""
    options = ReadOptions(kind="sweep", settings={"stroke": "100 mm", "rpm": "100 rpm"})
    record = read_bytes(b"Compression (N),Rebound (N)\n600,1500\n610,1490\n", "sweep.csv", options).record
    assert isinstance(record, SweepRecord)
    np.testing.assert_allclose(np.abs(record.velocity), 0.5236, atol=5e-5)


def test_values_from_python_count_as_the_house_does() -> None:
    """Plain arrays are SI and in the house's signs; a contradiction is refused."""
    truth = bench(0.13, gas=0.0)
    values = {"time": truth.time, "travel": truth.travel, "force": truth.force}
    record = read_values(values, "cycle").record
    assert isinstance(record, CycleRecord)
    np.testing.assert_array_equal(record.tests[0].force, truth.force)

    with pytest.raises(ReadError, match="put energy in"):
        read_values(values | {"force": -truth.force}, "cycle")
    turned = read_values(
        values | {"force": -truth.force}, "cycle", ReadOptions(settings={"positive_force": "rebound"})
    )
    assert isinstance(turned.record, CycleRecord)
    np.testing.assert_array_equal(turned.record.tests[0].force, truth.force)
