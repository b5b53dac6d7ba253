"""Likely wrong inputs are named: each mistake is made on a sound corner and must come out among the culprits."""

import math

import pytest

from tuner.estimates import Estimate
from tuner.machine import (
    Axles,
    Body,
    Corner,
    MotionRatio,
    check_body,
    check_corner,
    read_machine,
)
from tuner.units import GRAVITY
from tuner.wording.doubts import note_text


def exact(value, unit):
    return Estimate.exact(value, unit)


def corner(mass=92.0, rate=28e3, ratio=0.7, **more):
    given = {key: None if value is None else exact(*value) for key, value in more.items()}
    return Corner(
        name="rear",
        sprung_mass=exact(mass, "kg"),
        spring_rate=exact(rate, "N/m"),
        motion_ratio=MotionRatio(exact(ratio, "1")),
        **given,
    )


SOUND = {
    "unsprung_mass": (28.0, "kg"),
    "tyre_rate": (70e3, "N/m"),
    "damper_travel": (0.21, "m"),
    "static_travel": (92.0 * GRAVITY / 0.7 / 28e3, "m"),
}


def notes_of(given: Corner) -> dict[str, str]:
    return {note.code: note_text(note) for note in check_corner(given)}


def test_a_sound_corner_raises_no_doubt():
    assert notes_of(corner(**SOUND)) == {}


@pytest.mark.parametrize(
    ("changes", "code", "words"),
    [
        ({"ratio": 1 / 0.7}, "ratio-inverted", "wrong way round (0.70)"),
        ({"ratio": 0.2}, "ratio-unusual", "only 20.0 mm"),
        ({"rate": 28.0}, "frequency-unusual", "in N/mm but was read as N/m (28 N/mm)"),
        ({"rate": 160.0}, "frequency-unusual", "in lbf/in but was read as N/m (160 lbf/in)"),
        ({"rate": 28e6}, "frequency-unusual", "in N/m but was read as N/mm (28000 N/m)"),
        ({"rate": 160e3, "mass": 60.0}, "frequency-unusual", "in lbf/in but was read as N/mm (160 lbf/in)"),
        (
            {"rate": 28 * 175.1268, "mass": 120.0},
            "frequency-unusual",
            "in N/mm but was read as lbf/in (28 N/mm)",
        ),
        (
            {"mass": 4 * 160.0, "rate": 20e3},
            "frequency-unusual",
            "that of the whole machine, not of one corner",
        ),
        ({"unsprung_mass": (95.0, "kg")}, "unsprung-heavy", "the two are swapped"),
        ({"tyre_rate": (700.0, "N/m")}, "tyre-rate-soft", "without a unit counts as N/m"),
        ({"bump_stop_rate": (75.0, "N/m")}, "bump-stop-rate-soft", "without a unit counts as N/m"),
        ({"damper_travel": (2.1, "m")}, "travel-unusual", "without a unit counts as metres"),
    ],
)
def test_likely_culprits(changes, code, words):
    sound = {key: value for key, value in SOUND.items() if key != "static_travel"}
    found = notes_of(corner(**{**sound, **changes}))
    assert code in found
    assert words in found[code]
    assert "'rear'" in found[code]


@pytest.mark.parametrize(
    ("rests_at", "changes", "words"),
    [
        # the corner really rests at that shaft travel in mm; the file has one value wrong
        (46.0, {"mass": 184.0}, "sprung_mass is that of a whole axle, not of one corner (92 kg)"),
        (
            46.0,
            {"ratio": 1 / 0.7},
            "wrong way round (it is damper travel / wheel travel, so 0.70 instead of 1.43)",
        ),
        (46.0, {"rate": 28 * 175.1268}, "spring_rate is in N/mm but was read as lbf/in (28 N/mm)"),
        (46.0, {"mass": 92 * 0.45359}, "sprung_mass is in kg but was read as lb (92 kg)"),
        (30.0, {}, "16 mm of preload on the spring"),
        (60.0, {}, "preload would do the opposite"),
    ],
)
def test_sag_that_disagrees(rests_at, changes, words):
    found = notes_of(corner(**{**SOUND, "static_travel": (rests_at / 1000, "m"), **changes}))
    assert words in found["sag-disagrees"]


@pytest.mark.parametrize(("share", "said"), [(0.92, False), (0.88, True), (1.08, False), (1.12, True)])
def test_ten_percent_is_the_line(share, said):
    static = share * 92.0 * GRAVITY / 0.7 / 28e3
    assert ("sag-disagrees" in notes_of(corner(static_travel=(static, "m")))) == said


def test_sag_note_gives_the_frequency_it_means():
    # f = sqrt(g/sag)/(2 pi) for a linear spring: a sag of half the expected one is a frequency 41 % higher
    text = notes_of(corner(static_travel=(0.5 * 92.0 * GRAVITY / 0.7 / 28e3, "m")))["sag-disagrees"]
    assert f"{100 * (math.sqrt(2) - 1):.0f} % off" in text


def test_spring_that_cannot_carry_within_its_travel():
    assert "preload" in notes_of(corner(mass=200.0, rate=12e3, damper_travel=(0.2, "m")))["spring-too-soft"]


def table(rows, **more):
    import numpy as np

    wheel, damper = (np.array(column) / 1000.0 for column in zip(*rows, strict=True))
    given = {key: exact(*value) for key, value in more.items()}
    return Corner(
        name="rear",
        sprung_mass=exact(92.0, "kg"),
        spring_rate=exact(28e3, "N/m"),
        motion_ratio=MotionRatio(None, wheel, damper),
        **given,
    )


ROWS = [(0, 0), (50, 32), (100, 66), (150, 102), (200, 140)]


@pytest.mark.parametrize(
    ("rows", "more", "code", "words"),
    [
        (ROWS, {}, None, ""),
        (ROWS[:3], {}, "ratio-table-short", "only 3 rows"),
        ([*ROWS[:2], (100, 76), *ROWS[3:]], {}, "ratio-table-rough", "row 3"),
        (ROWS, {"damper_travel": (0.21, "m")}, "ratio-table-span", "covers 140 mm"),
        (ROWS, {"static_travel": (0.16, "m")}, "rest-outside-table", "outside"),
    ],
)
def test_tables_are_doubted_where_they_should_be(rows, more, code, words):
    found = notes_of(table(rows, **more))
    if code is None:
        assert found == {}
    else:
        assert words in found[code]


def test_a_corner_without_a_wheel_rate_is_a_note_not_a_crash():
    falling = [(0, 0), (50, 42), (100, 70), (150, 84), (200, 90)]
    heavy = table(falling, static_travel=(0.086, "m"))
    object.__setattr__(heavy, "sprung_mass", exact(400.0, "kg"))
    assert "wheel rate must be positive" in notes_of(heavy)["corner-impossible"]


def body(**given):
    return Body(wheelbase=exact(1.8, "m"), pitch_factor=exact(0.9, "1"), **given)


def test_body_against_corner_masses():
    corners = {"f": corner(82.0), "r": corner(92.0)}
    assert check_body(body(front_share=exact(0.47, "1")), Axles("f", "r"), corners) == ()
    assert check_body(body(front_share=exact(0.60, "1")), None, corners) == ()
    (note,) = check_body(body(front_share=exact(0.60, "1")), Axles("f", "r"), corners)
    assert note.code == "share-disagrees"
    assert "front and rear swapped" in note_text(note)
    (note,) = check_body(body(cg_to_front=exact(0.80, "m")), Axles("f", "r"), corners)
    assert "measured from the rear axle" in note_text(note)


def test_doubts_of_the_file_are_on_the_machine():
    machine = read_machine(
        '[corners.rear]\nsprung_mass = "184 kg"\nspring_rate = "28 N/mm"\nmotion_ratio = 0.7\n'
        'static_travel = "46 mm"\n'
    )
    assert [note.code for note in machine.notes] == ["default-target", "sag-disagrees"]
