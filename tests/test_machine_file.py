"""The machine file: what it may hold, how each wrong one is refused, and that writing it loses nothing."""

import tomllib

import numpy as np
import pytest

from tuner.errors import InputRefused, MachineError, UnitError
from tuner.estimates import Estimate
from tuner.machine import (
    DEFAULT_BUMP_STOP,
    DEFAULT_DROOP_STOP,
    TARGETS,
    Axles,
    Body,
    Corner,
    Machine,
    MotionRatio,
    Target,
    coil_rate,
    machine_from_values,
    read_machine,
    read_machine_file,
    write_machine,
)
from tuner.wording.doubts import note_text

FULL = """\
name = "Dune Hopper No. 4"

[corners.rear]
sprung_mass = "92 kg +- 2 %"
unsprung_mass = "28 kg"
spring_rate = "28 N/mm"
motion_ratio = 0.70
tyre_rate = "70 N/mm"
damper_travel = "210 mm"
static_travel = "46 mm"
tyre_damping = "0 N*s/m"
bump_stop_rate = "90 N/mm"
droop_stop_rate = "50 N/mm"

[corners.front]
sprung_mass = "180 lb +- 4 lb"
unsprung_mass = "22 kg +- 1 kg"
spring = { wire = "10 mm", mean_diameter = "76 mm", active_coils = 8 }
motion_ratio = [["0 mm", "0 mm"], ["50 mm", "32 mm +- 1 mm"], ["100 mm", "66 mm"], ["150 mm", "102 mm"], ["200 mm", "140 mm"]]

[body]
wheelbase = "1800 mm"
front_share = 0.47
pitch_inertia = "160 kg*m**2"

[axles]
front = "front"
rear = "rear"

[target]
use = "rough ground and jumps"
speed = "0.26 m/s"
"""  # noqa: E501 - one line of a file


def test_everything_a_file_can_hold():
    machine = read_machine(FULL, "hopper.toml")
    rear, front = machine.corner("rear"), machine.corner("front")
    assert machine.name == "Dune Hopper No. 4"
    assert list(machine.corners) == ["rear", "front"]
    assert (rear.sprung_mass.value, rear.sprung_mass.low, rear.sprung_mass.high) == pytest.approx(
        (92.0, 90.16, 93.84)
    )
    assert rear.spring_rate == Estimate.exact(28e3, "N/m")
    assert rear.motion_ratio.constant == Estimate.exact(0.7, "1")
    assert rear.damper_travel.value == pytest.approx(0.21)
    assert (rear.bump_stop_rate.value, rear.droop_stop_rate.value) == (90e3, 50e3)
    pound = 0.45359237  # kg, by definition
    assert front.sprung_mass.value == pytest.approx(180 * pound)
    assert front.sprung_mass.high - front.sprung_mass.value == pytest.approx(4 * pound)
    assert front.spring_rate.value == pytest.approx(80e9 * 0.01**4 / (8 * 0.076**3 * 8))
    assert front.motion_ratio.wheel == pytest.approx([0, 0.05, 0.1, 0.15, 0.2])
    assert front.motion_ratio.damper == pytest.approx([0, 0.032, 0.066, 0.102, 0.14])
    assert front.motion_ratio.damper_half == pytest.approx([0, 0.001, 0, 0, 0])
    assert (front.tyre_rate, front.damper_travel, front.static_travel) == (None, None, None)
    assert (front.bump_stop_rate, front.droop_stop_rate) == (DEFAULT_BUMP_STOP, DEFAULT_DROOP_STOP)
    assert machine.body.front_share.value == 0.47
    assert machine.body.pitch_inertia.value == 160.0
    assert machine.axles == Axles("front", "rear")
    assert machine.target == TARGETS["rough ground and jumps"]
    assert machine.notes == ()


def least(**lines: str) -> str:
    """Give the smallest file, with lines changed, added or (empty) left out."""
    given = {"sprung_mass": '"92 kg"', "spring_rate": '"28 N/mm"', "motion_ratio": "0.7", **lines}
    return "[corners.rear]\n" + "\n".join(f"{key} = {value}" for key, value in given.items() if value) + "\n"


def test_the_least_a_file_must_hold():
    machine = read_machine(least(), "shed 9/hopper.toml")
    assert machine.name == "hopper"
    assert machine.body is None
    assert machine.axles is None
    assert machine.corner("rear").unsprung_mass is None
    assert machine.target == TARGETS["rough ground and jumps"]
    assert machine.target.speed == 0.26
    (note,) = machine.notes
    assert note.code == "default-target"
    assert "common practice, no source; starting points, not limits" in note_text(note)


def test_built_in_bands_are_those_of_the_trade_and_say_so():
    assert {name: (t.compression, t.rebound) for name, t in TARGETS.items()} == {
        "rough ground and jumps": ((0.20, 0.35), (0.45, 0.75)),
        "rough track without jumps": ((0.20, 0.40), (0.35, 0.60)),
        "smooth track": ((0.40, 0.60), (0.55, 0.80)),
    }
    assert {t.source for t in TARGETS.values()} == {"common practice, no source; starting points, not limits"}


@pytest.mark.parametrize(
    ("target", "expected", "codes"),
    [
        (
            'use = "smooth track"',
            Target((0.4, 0.6), (0.55, 0.8), 0.26, TARGETS["smooth track"].source, "smooth track"),
            [],
        ),
        (
            'compression = [0.2, 0.3]\nrebound = [0.5, 0.6]\nspeed = "10 in/s"',
            Target((0.2, 0.3), (0.5, 0.6), 0.254, "the machine file"),
            [],
        ),
        (
            'compression = ["20 %", "30 %"]\nrebound = [0.5, 0.6]',
            Target((0.2, 0.3), (0.5, 0.6), 0.26, "the machine file"),
            ["default-target-speed"],
        ),
    ],
)
def test_targets(target, expected, codes):
    machine = read_machine(f"{least()}[target]\n{target}\n")
    found = machine.target
    assert found.compression == pytest.approx(expected.compression)
    assert found.rebound == pytest.approx(expected.rebound)
    assert (found.speed, found.source, found.name) == (
        pytest.approx(expected.speed),
        expected.source,
        expected.name,
    )
    assert [note.code for note in machine.notes] == codes


def test_stacked_springs_of_rates_and_coils():
    text = least(
        spring_rate="",
        springs='["50 N/mm +- 4 %", { wire = "10 mm", mean_diameter = "76 mm", active_coils = 8 }, 40000]',
    )
    coil = coil_rate(Estimate.exact(0.01, "m"), Estimate.exact(0.076, "m"), Estimate.exact(8.0, "1"))
    found = read_machine(text).corner("rear").spring_rate
    assert found.value == pytest.approx(1.0 / (1 / 50e3 + 1 / coil.value + 1 / 40e3))
    # the softest spring's uncertainty counts most: shares k/k_i of each relative error
    shares = found.value / 50e3 * 0.04, found.value / coil.value * (coil.high / coil.value - 1)
    assert found.high / found.value - 1 == pytest.approx(np.hypot(*shares), rel=0.03)


def test_unit_of_the_wrong_kind_says_what_was_needed():
    with pytest.raises(UnitError) as refusal:
        read_machine(least(sprung_mass='"900 N"'), "hopper.toml")
    assert refusal.value.message.startswith(
        "hopper.toml, line 2: corners.rear.sprung_mass needs a unit of mass"
    )
    assert "'N'" in refusal.value.message


# what was changed in the least file, words of the sentence, words of the hint
REFUSED = [
    ({"sprung_mas": "1"}, "line 5: corners.rear.sprung_mas is not known", "'sprung_mass'"),
    (
        {"sprung_mass": ""},
        "line 1: [corners.rear] must have sprung_mass; got spring_rate, motion_ratio",
        "92 kg",
    ),
    ({"spring_rate": ""}, "must have spring_rate, spring or springs", "N/mm"),
    ({"motion_ratio": ""}, "must have motion_ratio", "Damper travel / wheel travel"),
    ({"sprung_mass": "0"}, "line 2: corners.rear.sprung_mass must be positive; got 0 kg", ""),
    ({"sprung_mass": '"-92 kg"'}, "must be positive; got -92 kg", ""),
    ({"sprung_mass": "nan"}, "must be a finite number; got nan", ""),
    ({"sprung_mass": "inf"}, "must be a finite number", ""),
    ({"sprung_mass": '"1e999 kg"'}, "must be a finite number", ""),
    ({"sprung_mass": "9" + "0" * 400}, "must be a finite number", ""),
    ({"sprung_mass": "9" + "0" * 5000}, "sensible length", ""),
    ({"sprung_mass": "true"}, "must be a number or text with a unit; got True", ""),
    ({"sprung_mass": "2020-01-01"}, "must be a number or text with a unit", ""),
    ({"sprung_mass": '"92 kg +- 100 %"'}, "better than to within its own size; got 0 to 184 kg", "'+-'"),
    ({"sprung_mass": '"92 kg +- -2 kg"'}, "must not be negative", ""),
    ({"sprung_mass": '"92 kg +- 2 +- 3"'}, "at most one '+-'", ""),
    ({"sprung_mass": '"heavy"'}, "must be a number with a unit of mass", ""),
    ({"sprung_mass": f'"{"9" * 200}"'}, "200 characters", ""),
    ({"sprung_mass": "92 kg"}, "line 2 must be valid TOML; got 'sprung_mass = 92 kg'", '"92 kg"'),
    ({"motion_ratio": "0,7"}, "line 4 must be valid TOML; got 'motion_ratio = 0,7'", "decimal point"),
    ({"motion_ratio": "0"}, "corners.rear.motion_ratio must be positive; got 0", ""),
    ({"motion_ratio": "-0.7"}, "must be positive", ""),
    ({"motion_ratio": "70"}, "must be between 0.02 and 10; got 70", ""),
    ({"motion_ratio": "[]"}, "at least two rows long; got 0", ""),
    ({"motion_ratio": "[[0, 0, 0]]"}, "rows of [wheel travel, damper travel]; got [0, 0, 0] in row 1", "mm"),
    (
        {"motion_ratio": "[[0, 0], [100, 70]]"},
        "wheel travel, must be between 0 and 3 m; got 100 m",
        "without a unit",
    ),
    (
        {"motion_ratio": '[[0, 0], ["100 kg", 0.07]]'},
        "motion_ratio, wheel travel, needs a unit of length",
        "mm",
    ),
    (
        {"motion_ratio": "[[0, 0], [0.1, 0.07], [0.2, 0.06]]"},
        "rising from row to row; got 0.07 m in row 2",
        "droop",
    ),
    (
        {"spring_rate": "28"},
        "spring that fits 92 kg at this motion ratio; got 13.7 N/m at the wheel",
        "28 N/mm",
    ),
    ({"spring_rate": '"28 kN/mm"'}, "would sag 0.0658 mm", "read as N/mm"),
    (
        {"motion_ratio": "[[0, 0], [0.05, 0.03], [0.1, 0.07]]", "spring_rate": '"3 N/m"'},
        "spring that fits 92 kg",
        "Likely",
    ),
    ({"spring_rate": "0"}, "corners.rear.spring_rate must be positive", ""),
    ({"spring": '"28 N/mm"'}, "spring must not stand beside spring_rate; got both", "springs"),
    ({"spring_rate": "", "spring": '"28 N/mm"'}, "must be a coil; got '28 N/mm'", "spring_rate"),
    ({"spring_rate": "", "spring": "{ wire = 1 }"}, "got no mean_diameter", "wire"),
    ({"spring_rate": "", "spring": "{ wires = 1 }"}, "got 'wires', which is not known", "'wire'"),
    ({"spring_rate": "", "springs": "[]"}, "one to twenty rates or coils", ""),
    ({"spring_rate": "", "springs": '"28 N/mm"'}, "one to twenty rates or coils", ""),
    (
        {"spring_rate": "", "spring": '{ wire = "76 mm", mean_diameter = "10 mm", active_coils = 8 }'},
        "wire must be thinner",
        "thickness",
    ),
    (
        {"tyre_rate": "70"},
        "tyre that can carry 92 kg; got 70 N/m, on which it would be squashed 12.9 m",
        "unit",
    ),
    ({"tyre_damping": '"-5 N*s/m"'}, "must be zero or positive", ""),
    ({"damper_travel": "210"}, "must be between 0.001 and 3 m; got 210 m", "without a unit counts as m"),
    (
        {"damper_travel": '"100 mm"', "static_travel": '"120 mm"'},
        "static_travel must be smaller than damper_travel",
        "",
    ),
]


@pytest.mark.parametrize(("changes", "words", "hint"), REFUSED)
def test_refusals_of_a_corner(changes, words, hint):
    with pytest.raises(InputRefused) as refusal:
        read_machine(least(**changes), "hopper.toml")
    assert words in refusal.value.message
    assert hint in refusal.value.hint
    assert refusal.value.message.startswith("hopper.toml")
    assert "\n" not in refusal.value.message


@pytest.mark.parametrize(
    ("text", "words", "hint"),
    [
        ("", "must be a machine file; got an empty one", "[corners.rear]"),
        (b"", "got an empty one", ""),
        ("\ufeff  \n", "got an empty one", ""),
        ("# only a remark\n", "must have at least one corner", "[corners.rear]"),
        ("[corners]\n", "must have at least one corner", ""),
        ("corners = 3\n", "line 1: corners must be a table; got 3", "[corners]"),
        ("[corners]\nrear = 3\n", "line 2: corners.rear must be a table; got 3", "[corners.rear]"),
        (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", "bytes that are not text", "UTF-8"),
        (b"PAR1\x00\x00\x15\x04", "got a binary one", ""),
        ("a\x00b", "got a binary one", ""),
        ("x" * 1_000_001, "more than a million", "record"),
        ("a = " + "[" * 5000, "nested too deep", ""),
        (least() + least(), "line 5: every key and table must be given only once", "Remove"),
        (least() + "motion_ratio = 0.8\n", "line 5: every key and table must be given only once", "Remove"),
        (
            "[corners]\n" + "\n".join(f"c{i} = {{}}" for i in range(101)),
            "at most 100 corners; got 101",
            "own",
        ),
        ("name = 5\n" + least(), "line 1: name must be text in quotes; got 5", ""),
        (
            least() + "[targets]\n",
            "line 5: targets is not known; it must be a key of a machine file",
            "'target'",
        ),
        ("[corner.rear]\n", "line 1: corner is not known", "'corners'"),
        (
            least() + '[axles]\nfront = "raer"\nrear = "rear"\n',
            "line 6: axles.front must be the name of a",
            "'rear'",
        ),
        (least() + '[axles]\nrear = "rear"\n', "line 5: [axles] must have front; got rear", ""),
        (least() + "[body]\nfront_share = 0.5\n", "[body] must have wheelbase", ""),
        (least() + "[body]\nwheelbase = 1.8\n", "must have front_share or cg_to_front", "0.47"),
        (
            least() + "[body]\nwheelbase = 1.8\nfront_share = 0.5\ncg_to_front = 0.9\n",
            "must not stand beside",
            "",
        ),
        (
            least() + "[body]\nwheelbase = 1800\nfront_share = 0.5\n",
            "between 0.05 and 20 m; got 1800 m",
            "unit",
        ),
        (least() + "[body]\nwheelbase = 1.8\nfront_share = 1.5\n", "front_share must be between 0 and 1", ""),
        (
            least() + '[target]\nuse = "rough ground"\n',
            "must be the name of a built-in band",
            "rough ground and",
        ),
        (least() + '[target]\nuse = "smooth track"\nrebound = [0.4, 0.5]\n', "must not stand beside use", ""),
        (least() + "[target]\ncompression = [0.2, 0.3]\n", "[target] must have rebound", "rebound ="),
        (least() + "[target]\ncompression = [0.3, 0.2]\nrebound = [0.4, 0.5]\n", "two rising positive", ""),
        (least() + "[target]\ncompression = 0.3\nrebound = [0.4, 0.5]\n", "two damping ratios", ""),
        (least() + '[target]\nuse = "smooth track"\nspeed = "0 m/s"\n', "between 0 and 20 m/s", ""),
    ],
)
def test_refusals_of_a_file(text, words, hint):
    with pytest.raises(MachineError) as refusal:
        read_machine(text, "hopper.toml")
    assert words in refusal.value.message
    assert hint in refusal.value.hint
    assert refusal.value.message.startswith("hopper.toml")


def test_the_same_file_in_other_encodings():
    plain = read_machine(FULL)
    for data in (FULL.encode(), FULL.encode("utf-8-sig"), FULL.encode("utf-16"), FULL.replace("\n", "\r\n")):
        assert read_machine(data) == plain


def test_files_on_disk(tmp_path):
    path = tmp_path / "hopper.toml"
    path.write_text(FULL, encoding="utf-8")
    assert read_machine_file(path) == read_machine(FULL)
    with pytest.raises(MachineError, match="must be a file that can be opened"):
        read_machine_file(tmp_path / "none.toml")
    with pytest.raises(MachineError, match="must be a file that can be opened"):
        read_machine_file(tmp_path)
    with pytest.raises(MachineError, match="must be a file that can be opened"):
        read_machine_file("nul\x00byte")


def test_a_form_gives_the_same_machine():
    assert machine_from_values(tomllib.loads(FULL)) == read_machine(FULL)
    with pytest.raises(MachineError, match=r"^the form: corners\.rear\.motion_ratio must be positive"):
        machine_from_values(
            {"corners": {"rear": {"sprung_mass": "92 kg", "spring_rate": "28 N/mm", "motion_ratio": 0}}}
        )
    with pytest.raises(MachineError, match="got nothing"):
        machine_from_values({"corners": {"rear": {"sprung_mass": None}}})


def test_unknown_corner_is_refused_with_the_nearest():
    machine = read_machine(FULL)
    with pytest.raises(MachineError, match="has no corner 'raer'") as refusal:
        machine.corner("raer")
    assert refusal.value.hint == "Did you mean 'rear'?"
    with pytest.raises(MachineError) as refusal:
        machine.corner("xyzzy")
    assert refusal.value.hint == "Known: rear, front."


def numbers(thing) -> list[float]:
    """Give every number of a machine in a fixed order; None where there is none."""
    if isinstance(thing, Estimate):
        return [thing.value, thing.low, thing.high]
    if isinstance(thing, MotionRatio):
        columns = (thing.wheel, thing.damper, thing.wheel_half, thing.damper_half)
        return [*numbers(thing.constant), *(float(x) for column in columns for x in column)]
    if isinstance(thing, (Corner, Body, Target)):
        return [n for field in thing.__dataclass_fields__ for n in numbers(getattr(thing, field))]
    if isinstance(thing, Machine):
        parts = [*thing.corners.values(), thing.body, thing.target]
        return [n for part in parts for n in numbers(part)]
    if isinstance(thing, (tuple, list)):
        return [n for each in thing for n in numbers(each)]
    return [float(thing)] if isinstance(thing, float) else [-1.0]


def test_writing_loses_nothing():
    machine = read_machine(FULL)
    text = write_machine(machine)
    again = read_machine(text)
    assert numbers(again) == pytest.approx(numbers(machine), rel=1e-12, abs=1e-15)
    assert (again.name, again.axles, again.target) == (machine.name, machine.axles, machine.target)
    assert write_machine(again) == text
    assert 'sprung_mass = "92 kg +- 2 %"' in text  # and it stays readable
    assert '["50 mm", "32 mm +- 1 mm"]' in text


def drawn_machine(rng: np.random.Generator) -> Machine:
    def some(low, high, unit, digits=None):
        value = float(np.exp(rng.uniform(np.log(low), np.log(high))))
        value = value if digits is None else float(f"{value:.{digits}g}")
        half = value * float(rng.choice([0.0, 0.02, rng.uniform(0.0, 0.5)]))
        return Estimate(value, value - half, value + half, unit)

    def maybe(estimate):
        return estimate if rng.uniform() < 0.6 else None

    corners = {}
    for name in rng.choice(
        ["rear", "front left", "hinten", 'a "b" \\ c', "é#=[.]"], rng.integers(1, 4), replace=False
    ):
        digits = rng.choice([2, None])
        rate, mass = some(10e3, 60e3, "N/m", digits), some(40, 200, "kg", digits)
        if rng.uniform() < 0.5:
            ratio = MotionRatio(some(0.6, 1.0, "1", digits))
        else:
            wheel = np.cumsum(rng.uniform(0.02, 0.05, rng.integers(2, 12)))
            ratio = MotionRatio(None, wheel, 0.75 * wheel, damper_half=rng.uniform(0, 1e-3, wheel.size))
        corners[str(name)] = Corner(
            name=str(name),
            sprung_mass=mass,
            unsprung_mass=maybe(some(5, 40, "kg", digits)),
            spring_rate=rate,
            motion_ratio=ratio,
            tyre_rate=maybe(some(50e3, 200e3, "N/m", digits)),
            damper_travel=maybe(some(0.2, 0.4, "m", digits)),
            static_travel=maybe(some(0.03, 0.12, "m", digits)),
            tyre_damping=some(1, 100, "N*s/m", digits),
            bump_stop_rate=some(50e3, 200e3, "N/m", digits),
            droop_stop_rate=DEFAULT_DROOP_STOP,
        )
    body = axles = None
    if rng.uniform() < 0.7:
        place = (
            {"cg_to_front": some(0.5, 1.2, "m")}
            if rng.uniform() < 0.5
            else {"front_share": some(0.3, 0.6, "1")}
        )
        inertia = (
            {"pitch_inertia": some(50, 500, "kg*m**2")}
            if rng.uniform() < 0.5
            else {"pitch_factor": some(0.8, 1.0, "1")}
        )
        body = Body(wheelbase=some(1.5, 2.5, "m"), **place, **inertia)
        axles = Axles(*rng.choice(list(corners), 2))
    low = rng.uniform(0.1, 0.5, 2)
    own = Target(
        (float(low[0]), float(low[0] + 0.2)), (float(low[1]), float(low[1] + 0.3)), 0.52, "the machine file"
    )
    target = own if rng.uniform() < 0.5 else TARGETS[str(rng.choice(list(TARGETS)))]
    return Machine(
        str(rng.choice(["Dune Hopper No. 4", 'x"\\\n\t\x7f é', "1"])), corners, body, axles, target
    )


def test_writing_loses_nothing_of_drawn_machines():
    rng = np.random.default_rng(17)
    for _ in range(150):
        machine = drawn_machine(rng)
        again = read_machine(write_machine(machine))
        assert numbers(again) == pytest.approx(numbers(machine), rel=1e-12, abs=1e-14)
        assert list(again.corners) == list(machine.corners)
        assert (again.name, again.target.name) == (machine.name, machine.target.name)
        assert (again.body is None) == (machine.body is None)
        if machine.axles is not None:
            assert again.axles == machine.axles


def test_an_uneven_interval_is_never_written_narrower():
    uneven = Estimate(92.0, 91.0, 95.0, "kg")
    rear = read_machine(least()).corner("rear")
    corner = Corner(
        name="rear", sprung_mass=uneven, spring_rate=rear.spring_rate, motion_ratio=rear.motion_ratio
    )
    machine = Machine("x", {"rear": corner}, None, None, TARGETS["smooth track"])
    found = read_machine(write_machine(machine)).corner("rear").sprung_mass
    assert (found.low, found.value, found.high) == pytest.approx((89.0, 92.0, 95.0))
