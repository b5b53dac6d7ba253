"""The answer in one breath: 25 lines of at most 100 columns from every command, and nothing that misleads."""

from __future__ import annotations

import itertools
import math
import re
from dataclasses import replace

import pytest

from tests import builders, moving_results, phone_kinds
from tests.conftest import ROOT, SAMPLES
from tests.test_wording import MISREAD, compared, comparison, ratio
from tuner.cli.entry import COMMANDS
from tuner.comparing import compare, match
from tuner.comparing.agreement import agreements
from tuner.comparing.confounders import goes_with
from tuner.comparing.needed import needed
from tuner.estimates import Estimate, Note
from tuner.fitting import fit
from tuner.fitting.measures import flight_means, jump_notes
from tuner.judging import JudgedSide, judge
from tuner.records import SIDES, Conditions
from tuner.wording import brief_page, short_change, short_damper, short_fit, short_pair
from tuner.wording.brief import Clause, Part, part
from tuner.wording.short import needed_points

# words of the program, and numbers that nobody can read
PROGRAM = re.compile(
    r"zeta|N\*s/m|\bnan\b|\binf\b|None|True|False|\{|\}|[a-z]+_[a-z]+(?!\S*\.(csv|toml|html))", re.I
)
MACHINE = ("--machine", "sample_data/dune_hopper.toml", "--corner")
SYSTEMS = ("metric", "us")


def sample(*names: str) -> list[str]:
    return [f"sample_data/{name}" for name in names]


BEFORE = sample("rear_left_before_run1.csv", "rear_left_before_run2.csv")
AFTER = sample("rear_left_after_draining_run1.csv", "rear_left_after_draining_run2.csv")
OIL = sample("front_left_thick_oil.csv", "front_left_thin_oil.csv")
BOUNCES = sample("bounce_rear_before.csv", "bounce_rear_after_draining.csv")
DRIVES = sample("drive_rear_before.csv", "drive_rear_after.csv")
JUMPS = sample("jump_before.csv", "jump_after.csv")
PAIR = sample("pair_rear_left.csv", "pair_rear_right.csv.gz")
REAR, FRONT = (*MACHINE, "rear left"), (*MACHINE, "front left")

COMMAND_LINES = [
    *(("fit", f"sample_data/{file.name}") for file in sorted(SAMPLES.glob("*.csv*"))),
    *(("fit", f"sample_data/{file.name}", *REAR) for file in sorted(SAMPLES.glob("*.csv*"))),
    ("fit", *BEFORE, *REAR),
    ("fit", *BEFORE, BOUNCES[0], *REAR),
    ("fit", AFTER[0], BOUNCES[1]),
    ("fit", BOUNCES[0], *FRONT),  # the wrong corner
    ("compare", "--before", *BEFORE, "--after", *AFTER, *REAR),
    ("compare", "--before", BEFORE[0], "--after", AFTER[0]),
    ("compare", "--before", BEFORE[0], "--after", BEFORE[1], *REAR),
    ("compare", "--before", OIL[0], "--after", OIL[1], *FRONT),
    ("compare", "--before", OIL[1], "--after", "sample_data/front_left_hung_weights.csv", *FRONT),
    ("compare", "--before", BEFORE[0], "--after", BOUNCES[1], *REAR),
    ("compare", "--before", BOUNCES[0], "--after", BOUNCES[1], *REAR),
    ("compare", "--before", BOUNCES[0], "--after", BOUNCES[1]),
    ("compare", "--before", DRIVES[0], "--after", DRIVES[1], *REAR),
    ("compare", "--before", JUMPS[0], "--after", JUMPS[1]),
    ("match", "--one", PAIR[0], "--other", PAIR[1]),
    ("match", "--one", PAIR[0], "--other", PAIR[1], "--tolerance", "25%"),
    ("match", "--one", BOUNCES[0], "--other", BOUNCES[1]),
    ("match", "--one", *BEFORE, "--other", AFTER[0], *REAR),
]


def held(text: str, width: int = 100) -> None:
    """The short page: few lines, none wider, an answer first, nothing to be misread, and the way to the rest."""
    lines = text.splitlines()
    said = " ".join(text.split())

    assert len(lines) <= 25
    assert max(map(len, lines)) <= width
    assert "?" in lines[0] or "?" in lines[2]  # the question with its answer
    assert "--full" in said
    assert MISREAD.search(said) is None
    assert PROGRAM.search(said) is None
    assert ".." not in said
    assert "  " not in re.sub(r"^ +", "", text.replace("\n", " \n")).replace("\n  ", "\n").replace(
        " \n", "\n"
    )


@pytest.fixture(scope="module")
def fitted_once():
    """Every sample is fitted once: the same files with the same corner give the same fits."""
    from tuner.jobs import work

    plain, known = work.fit_readings, {}

    def once(readings, corner=None, **more):
        names = (tuple(r.record.provenance.sha256 for r in readings), corner and corner.name)
        if names not in known:
            known[names] = plain(readings, corner, **more)
        return known[names]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(work, "fit_readings", once)
        yield


@pytest.mark.usefixtures("fitted_once")
@pytest.mark.parametrize("system", SYSTEMS)
@pytest.mark.parametrize("words", COMMAND_LINES, ids=lambda words: " ".join(words)[:90])
def test_every_sample_is_answered_in_25_lines(tuner, monkeypatch, words, system):
    monkeypatch.chdir(ROOT)
    ended = tuner(*words, "--units", system)

    assert (ended.status, ended.err) == (0, "")
    held(ended.out)


@pytest.mark.parametrize("system", SYSTEMS)
def test_the_demo_with_its_report_is_held_to_25_lines_as_well(tuner, tmp_path, monkeypatch, system):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "96")
    ended = tuner("demo", "--report", "demo.html", "--units", system)

    assert "Report with pictures: demo.html" in ended.out
    held(ended.out.replace(str(SAMPLES), "samples"))


def test_full_says_all_that_the_short_answer_leaves_out(tuner, monkeypatch):
    monkeypatch.chdir(ROOT)
    words = ("compare", "--before", OIL[0], "--after", OIL[1], *FRONT)
    short, full = tuner(*words).out, tuner(*words, "--full").out

    assert len(full.splitlines()) > 3 * len(short.splitlines())
    assert full.startswith("- Compression (on the way in):")
    for title in ("Numbers (", "The corner and its target", "Why", "The recordings", "In short"):
        assert f"\n{title}" in full


# -- results that no sample gives


def many(count: int) -> tuple[Note, ...]:
    """Doubts, of an input and others, each in a long sentence."""
    kinds = (
        lambda i: Note("same-file", files=(f"rear_left_before_draining_run{i}.csv", f"copy_{i}.csv")),
        lambda i: Note("few-cycles", of=f"run {i}", count=1),
        lambda i: Note("unusual-damping", c=Estimate.exact(1000.0 + i, "N*s/m")),
        lambda i: Note("inputs-exact", corner=f"rear {i}", exact=("sprung_mass", "spring_rate")),
    )
    return tuple(kinds[i % 4](i) for i in range(count))


def unlike_jumps():
    jumps = moving_results.jump_fit().jumps
    jumps = tuple(
        replace(jump, airtime=moving_results.pm(0.3 + 0.3 * i, 0.02, "s")) for i, jump in enumerate(jumps)
    )
    one = moving_results.jump_fit()
    return replace(one, **flight_means(jumps), notes=jump_notes(jumps))


def made_up():
    """Every made-up result, by name, as a function of the system that gives its parts."""
    here = builders.machine()
    corner, target = here.corner("rear"), here.target
    judged = {
        "bench": judge(builders.bench_fit(), corner, target),
        "bench alone": judge(builders.bench_fit()),
        "after": judge(builders.after_fit(), corner, target),
        "bounce": moving_results.judged(moving_results.bounce_fit()),
        "one side": moving_results.judged(moving_results.bounce_fit(rebound=None)),
        "no side": moving_results.judged(moving_results.bounce_fit(None, None)),
        "drive": moving_results.judged(
            moving_results.drive_fit(packing=moving_results.pm(0.004, 0.001, "m"))
        ),
        "no stops": moving_results.judged(moving_results.drive_fit(stops=False)),
        "jump": judge(moving_results.jump_fit()),
        "size alone": judge(moving_results.jump_fit(1.3, known=False, peak_open=True)),
        "unlike jumps": judge(unlike_jumps()),
        "made drive": judge(
            fit(phone_kinds.drive(phone_kinds.strip()), phone_kinds.corner()), phone_kinds.corner()
        ),
        "made jump": judge(fit(phone_kinds.jump(0.6, -1.2, 5.0))),
    }
    changes = {
        "bench": builders.comparison(),
        "no corner": builders.comparison(corner=False),
        "bounce": moving_results.bounce_change(),
        "drive": moving_results.drive_change(),
        "drive, unclear": moving_results.drive_change(changed=False),
        "jump": moving_results.jump_change(),
        "jump, size alone": moving_results.jump_change(1.3, 0.9, known=False),
        "unlike jumps": compare([unlike_jumps()], [unlike_jumps()]),
        "unlike kinds": compare([builders.bench_fit()], [builders.bounce_fit()], corner, target),
    }
    ratios = (
        ratio(0.66, 0.61, 0.72),
        ratio(0.98, 0.9, 1.05),
        ratio(2.6, 2.1, 3.3),
        ratio(0.9, 0.0, math.inf),
    )
    for verdict, (i, change) in itertools.product(
        ("toward", "away", "no clear change", "cannot tell"), enumerate(ratios)
    ):
        sides = (compared(side, change, verdict, changed=i in (0, 2)) for side in SIDES)
        changes[f"{verdict} {i}"] = comparison(*sides)
    names = ("the_long_name_of_the_left_damper_2026.csv", "the_long_name_of_the_right_damper_2026.csv")
    pairs = {
        "alike": match([builders.bench_fit()], [builders.bench_fit()]),
        "apart": match([builders.bench_fit()], [builders.after_fit()]),
        "bounces": match(
            [moving_results.bounce_fit()], [moving_results.bounce_fit(0.26, 0.4)], phone_kinds.corner()
        ),
    }
    several = [judged["bench"], judge(builders.bounce_fit(), corner, target)]
    found = agreements(several)
    for count in (0, 12):
        notes = many(count)
        for name, one in judged.items():
            yield (
                f"fit {name} {count}",
                lambda s, one=one, n=notes: short_fit(one, s, notes=n, kinds=[one.fit.kind]),
            )
        for name, change in changes.items():
            yield (
                f"change {name} {count}",
                lambda s, c=change, n=notes: short_change(c, s, notes=n, kinds=[c.before.fit.kind]),
            )
        for name, pair in pairs.items():
            yield (
                f"pair {name} {count}",
                lambda s, p=pair, n=notes: short_pair(p, names, s, notes=n, kinds=["cycle"]),
            )
        yield (
            f"damper {count}",
            lambda s, n=notes: short_damper(several, found, s, notes=[n, n], kinds=["cycle", "bounce"]),
        )


MADE_UP = dict(made_up())


@pytest.mark.parametrize("name", MADE_UP)
def test_every_made_up_result_is_answered_in_25_lines(name):
    for system, width in itertools.product(SYSTEMS, (80, 96, 100)):
        held(brief_page(MADE_UP[name](system), width, closing=("Report: report.html",)), width)


@pytest.mark.parametrize("name", MADE_UP)
def test_each_side_takes_two_lines(name):
    for each in MADE_UP[name]("metric"):
        text = brief_page([each], 96).split("\n\n")[0]
        if text.startswith(("Compression (on the way in)", "Rebound (on the way out)")):
            assert (
                len(text.splitlines()) <= 2
                or "the_long_name" in text
                or "see it" in text
                or "missing" in text
            )


@pytest.mark.parametrize("name", [name for name in MADE_UP if name.endswith(" 12")])
def test_only_the_likeliest_doubt_is_named_and_the_others_are_counted(name):
    text = " ".join(brief_page(MADE_UP[name]("metric")).split())
    more = re.search(r"Check this first: .*? \((\d+) more with --full\)", text)

    assert more is not None
    assert int(more[1]) >= 5
    assert "What now: Look at that" in text


GOLDEN = {
    "change": lambda s: short_change(builders.comparison(), s, kinds=["cycle"]),
    "change_alone": lambda s: short_change(builders.comparison(corner=False), s, kinds=["cycle"]),
    "change_doubted": lambda s: short_change(builders.comparison(), s, kinds=["cycle"], notes=many(3)),
    "bounce_change": lambda s: short_change(moving_results.bounce_change(), s, kinds=["bounce"]),
    "drive_change": lambda s: short_change(moving_results.drive_change(), s, kinds=["travel"]),
    "jump_change": lambda s: short_change(moving_results.jump_change(), s, kinds=["flight"]),
    "fit": MADE_UP["fit after 0"],
    "bounce": MADE_UP["fit one side 0"],
    "drive": MADE_UP["fit drive 0"],
    "jump": MADE_UP["fit jump 0"],
    "pair": MADE_UP["pair apart 0"],
    "damper": MADE_UP["damper 0"],
}


@pytest.mark.parametrize("system", SYSTEMS)
@pytest.mark.parametrize("name", GOLDEN)
def test_short_pages_read_as_they_were_read_by_a_person(golden, name, system):
    golden(f"short_{name}{'' if system == 'metric' else '_us'}.txt", brief_page(GOLDEN[name](system)))


@pytest.mark.parametrize("name", GOLDEN)
def test_us_pages_have_no_metric_units(name):
    text = brief_page(GOLDEN[name]("us"))

    for unit in (" mm", " m/s", " N/mm", " kg", " N·s/m"):
        assert unit not in text


# -- what is left out


def test_what_finds_no_room_goes_by_rank_and_is_counted():
    parts = [part("The answer."), *(part(f"Sentence {i}.", rank=i) for i in range(1, 8)), part("What now.")]
    text = brief_page(parts, most=8)

    assert [line for line in text.splitlines() if line.startswith("Sentence")] == [
        f"Sentence {i}." for i in range(1, 5)
    ]
    assert len(text.splitlines()) == 8
    assert "The answer." in text
    assert "What now." in text
    assert "3 more sentences" in text


def test_a_part_gives_up_its_least_clause_whole():
    side = Part(
        (Clause("Rebound"), Clause(", at 0.26 m/s", 1), Clause(": " + "word " * 33 + "end.")), lines=2
    )

    assert ", at 0.26 m/s" in brief_page([side], 100)
    assert ", at 0.26 m/s" not in brief_page([side], 92)
    assert "end." in brief_page([side], 92)


# -- what a side needs


def test_needed_brings_a_ratio_to_the_edges_of_its_band():
    """Damping is proportional to its ratio: the factor times the ratio is the edge, end by end."""
    zeta = Estimate(0.42, 0.38, 0.46, "1")
    found = needed(zeta, (0.45, 0.75))

    assert found.to_low.value * zeta.value == pytest.approx(0.45)
    assert found.to_low.high * zeta.low == pytest.approx(0.45)
    assert found.to_low.low * zeta.high == pytest.approx(0.45)
    assert found.to_high.value * zeta.value == pytest.approx(0.75)
    least, most = found.surely_inside
    for bound in (zeta.low, zeta.high):
        assert bound * least * (1 + 1e-12) >= 0.45
        assert bound * most <= 0.75 * (1 + 1e-12)
    assert needed(Estimate(0.4, 0.2, 0.8, "1"), (0.45, 0.75)).surely_inside is None
    assert needed(Estimate(0.0, 0.0, 0.1, "1"), (0.45, 0.75)) is None
    assert math.isinf(needed(Estimate(0.1, 0.0, math.inf, "1"), (0.45, 0.75)).to_low.high)


def test_needed_is_said_of_a_side_outside_and_not_of_one_inside():
    here = builders.machine()
    judged = judge(builders.bench_fit(), here.corner("rear"), here.target)
    said = needed_points((side, judged.side(side)) for side in SIDES)

    assert (judged.compression.place, judged.rebound.place) == ("below", "inside")
    assert len(said) == 1
    assert re.fullmatch(
        r"Compression needs \d+ to \d+ % more damping to be surely inside the target \(best guess \d+ % more\)\.",
        said[0],
    )


@pytest.mark.parametrize(
    ("zeta", "said"),
    [
        (
            (0.42, 0.41, 0.43),
            "needs 10 to 74 % more damping to be surely inside the target (best guess 38 % more)",
        ),
        (
            (1.0, 0.95, 1.05),
            "needs 29 to 53 % less damping to be surely inside the target (best guess 42 % less)",
        ),
        ((0.2, 0.19, 0.21), "needs 2.4 to 3.6 times as much damping to be surely inside the target"),
        ((0.45, 0.30, 0.60), "no change is surely enough"),  # the interval is wider than the band
        ((0.45, 0.10, 0.90), None),  # nothing is known of the ratio
    ],
)
def test_needed_in_words(zeta, said):
    """By hand: 0.45/0.41 = 1.10 and 0.75/0.43 = 1.74; 0.45/0.95 = 0.47 and 0.75/1.05 = 0.71."""
    value = Estimate(*zeta, "1")
    judged = JudgedSide("rebound", band=(0.45, 0.75), at_band=value, place="uncertain")
    points = needed_points([("rebound", judged)])

    assert (said is None and points == ()) or said in points[0]


# -- what goes with it


@pytest.mark.parametrize(
    ("before", "after", "strokes", "belongs"),
    [
        ({"gas_pressure": 8.5e5}, {"gas_pressure": 5.4e5}, (0.0, 0.006), True),  # drained
        ({"gas_pressure": 5.4e5}, {"gas_pressure": 8.5e5}, (0.006, 0.0), True),  # filled again
        (
            {"oil_volume": 3e-4, "gas_pressure": 8e5},
            {"oil_volume": 2.6e-4, "gas_pressure": 5e5},
            (0.0, 0.0),
            True,
        ),
        ({"gas_pressure": 8.5e5}, {"gas_pressure": 5.4e5}, (0.0, 0.0), False),  # pressure alone
        ({}, {}, (0.0, 0.006), False),  # a dead stroke alone
        ({"gas_pressure": 5.4e5}, {"gas_pressure": 8.5e5}, (0.0, 0.006), False),  # they contradict each other
        ({"oil_volume": 2.6e-4}, {"oil_volume": 3e-4}, (0.0, 0.006), False),
    ],
)
def test_what_less_oil_does_by_itself_is_no_other_cause(before, after, strokes, belongs):
    fits = []
    for said, stroke in zip((before, after), strokes, strict=True):
        one = builders.bench_fit(dead_stroke=(0.0, stroke))
        fits.append(replace(one, conditions=(Conditions(**said),), gas_force=None))

    assert bool(goes_with(*fits)) is belongs


def test_what_belongs_to_a_change_is_not_called_another_cause(tuner, monkeypatch):
    monkeypatch.chdir(ROOT)
    words = ("compare", "--before", *BEFORE, "--after", *AFTER, *REAR)
    short, full = tuner(*words).out, tuner(*words, "--full").out

    for text in (short, full):
        assert "What goes with it" in text
        assert "What else could explain it" not in text


# -- help


@pytest.mark.parametrize("name", [None, *COMMANDS])
def test_help_fits_on_one_screen(tuner, monkeypatch, name):
    monkeypatch.setenv("COLUMNS", "80")
    ended = tuner(*(() if name is None else (name,)), "--help")
    lines = ended.out.splitlines()

    assert len(lines) <= (30 if name in ("compare", "match", "fit") else 24)
    assert max(map(len, lines)) <= 80


@pytest.mark.parametrize("name", ["fit", "compare", "match"])
def test_every_role_and_name_is_listed_where_the_help_says(tuner, name):
    from tuner.reading import SETTINGS
    from tuner.reading.table.words import ROLES

    told = " ".join(tuner(name, "--help").out.split())
    listed = tuner(name, *re.search(rf"tuner {name} (--help --full)", told)[1].split()).out

    assert all(word in listed for word in (*SETTINGS, *ROLES))
