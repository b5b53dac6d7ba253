"""Words that cannot be misread: what happens to the motion, digits by the interval, units by choice."""

from __future__ import annotations

import itertools
import math
import re
from dataclasses import replace

import pytest

from tests.builders import after_fit, bench_fit, machine
from tuner.comparing import ChangeAt, Comparison, PairMatch, SideComparison, SideMatch
from tuner.estimates import Estimate, Note
from tuner.fitting.results import SideFit
from tuner.judging import JudgedSide, ZetaAt, judge
from tuner.kinds import KINDS
from tuner.laws import Line, Power, TwoKnees
from tuner.records import SIDES
from tuner.units import SI_UNIT
from tuner.wording import (
    CAUTIONS,
    Headline,
    cautions_for,
    change_sections,
    change_summary,
    changes,
    figures,
    fit_sections,
    fits,
    motion,
    page,
    pair_sections,
    pair_summary,
    provided,
)
from tuner.wording.layout import Section, Table, table_lines

INF = math.inf
VERDICTS = ("toward", "away", "no clear change", "cannot tell")

# said both for a slower return and for less damping of the return
MISREAD = re.compile(
    r"\b(more|less|higher|lower|stronger|weaker|increased?|decreased?|reduced?|added?|extra)\s+(rebound|compression)\b(?!\s+damping)"
    r"|\b(rebound|compression)\s+(rose|fell|increased|decreased|is (more|less|weaker|stronger))\b",
    re.IGNORECASE,
)


def ratio(value: float, low: float, high: float) -> Estimate:
    return Estimate(value, low, high, "1")


def compared(
    side: str, change: Estimate | None, verdict: str, *, band: bool = True, changed: bool | None = True
) -> SideComparison:
    """One side with that change at 0.26 m/s, ratio 0.52 before."""
    edges = {"compression": (0.20, 0.35), "rebound": (0.45, 0.75)}[side] if band else None
    zetas = [
        (ZetaAt(0.26, Estimate.from_log_sd(0.52 * factor, 0.02, "1")),) if band else ()
        for factor in (1.0, change.value if change is not None else 1.0)
    ]
    before, after = (JudgedSide(side, z, z[0] if z else None, edges) for z in zetas)
    at = None if change is None else ChangeAt(0.26, change)
    return SideComparison(
        side,
        () if at is None else (at,),
        at,
        before,
        after,
        verdict,
        None if at is None else 0.98,
        (
            Note("nearest-speed", target=Estimate.exact(0.26, "m/s"), speed=Estimate.exact(0.13, "m/s")),
            Note("scatter-allowed", allowance=0.05),
        ),
        changed,
    )


def comparison(compression: SideComparison, rebound: SideComparison) -> Comparison:
    corner, target = machine().corner("rear"), machine().target
    return Comparison(
        judge(bench_fit(), corner, target),
        judge(after_fit(), corner, target),
        compression,
        rebound,
        (
            Note(
                "oil-temperature",
                one=Estimate.exact(293.15, "K"),
                other=Estimate.exact(303.15, "K"),
                first="before",
                second="after",
                compression=-0.2,
                rebound=-0.3,
            ),
        ),
    )


@pytest.fixture
def drained() -> Comparison:
    return comparison(
        compared("compression", ratio(0.98, 0.93, 1.03), "no clear change", changed=False),
        compared("rebound", ratio(0.66, 0.61, 0.72), "away"),
    )


# -- the words themselves


def test_the_page_of_a_change(drained, golden):
    decided = (
        ("before.csv", ("kind cycle: time, travel and force",)),
        ("after.csv", ("kind cycle: time, travel and force",)),
    )
    notes = (Note("few-cycles", of="before", count=2),)
    sections = change_sections(
        drained, "metric", notes=notes, decided=decided, cautions=cautions_for(["cycle"], after_change=True)
    )

    golden("change.txt", page(sections))


def test_the_page_of_a_change_in_us_units(drained, golden):
    golden("change_us.txt", page(change_sections(drained, "us")))


def test_the_page_of_one_setting(golden):
    corner, target = machine().corner("rear"), machine().target
    sections = fit_sections(judge(after_fit(), corner, target), "metric", cautions=cautions_for(["weights"]))

    golden("fit.txt", page(sections))


def test_the_page_of_a_pair(golden):
    alike = ChangeAt(0.26, ratio(0.99, 0.95, 1.04))
    apart = ChangeAt(0.26, ratio(1.24, 1.17, 1.31))
    against = [Note("against", ratio=at.ratio, speed=Estimate.exact(0.26, "m/s")) for at in (alike, apart)]
    sides = (
        SideMatch(
            "compression",
            (alike,),
            True,
            0.99,
            (Note("pair-within", of="compression", other=against[0], tolerance=0.1),),
            alike,
        ),
        SideMatch(
            "rebound",
            (apart,),
            False,
            0.999,
            (Note("pair-off", of="rebound", other=against[1], tolerance=0.1),),
            apart,
        ),
    )
    pair = PairMatch(judge(bench_fit()), judge(after_fit()), sides, False, 0.10)

    golden("pair.txt", page(pair_sections(pair, ("left.csv", "right.csv"), "metric")))


# -- what cannot be misread


def every_page(system: str):
    ratios = [
        (ratio(0.66, 0.61, 0.72), True),
        (ratio(1.31, 1.2, 1.43), True),
        (ratio(0.98, 0.9, 1.05), False),
        (ratio(2.6, 2.1, 3.3), True),
        (ratio(0.9, 0.0, INF), False),
        (None, None),
    ]
    for verdict, (change, changed), band in itertools.product(VERDICTS, ratios, (True, False)):
        sides = (compared(side, change, verdict, band=band, changed=changed) for side in SIDES)
        yield page(change_sections(comparison(*sides), system))
        at = ChangeAt(0.26, change) if change else None
        match = tuple(
            SideMatch(side, (at,), changed, 0.9, (), at) if at else SideMatch(side, (), changed, None, ())
            for side in SIDES
        )
        for matched in (True, False, None):
            pair = PairMatch(judge(bench_fit()), judge(after_fit()), match, matched, 0.1)
            yield page(pair_sections(pair, ("left", "right"), system))


@pytest.mark.parametrize("system", ["metric", "us"])
def test_no_page_can_be_misread_or_holds_what_is_no_word(system):
    pages = list(every_page(system))

    assert len(pages) > 100
    for text in pages:
        assert not MISREAD.search(text), MISREAD.search(text)
        assert not re.search(r"\b(nan|inf|None|zeta)\b", text), text
        assert "  ." not in text
        assert "+-" not in text


def test_the_trap_is_a_trap():
    """The pattern above finds what must not be said, and lets pass what may."""
    for bad in ("less rebound", "More rebound", "rebound fell by 3 %", "weaker compression"):
        assert MISREAD.search(bad)
    for good in ("rebound damping fell by 3 %", "holds the spring back 34 % less on the way out"):
        assert not MISREAD.search(good)


@pytest.mark.parametrize(
    ("side", "value", "does", "so"),
    [
        ("rebound", 0.66, "holds the spring back 34 % less", "the wheel pushes the body up faster"),
        ("rebound", 1.34, "holds the spring back 34 % more", "the body comes up more slowly"),
        ("compression", 0.66, "resists being pushed in 34 % less", "a bump uses more of the travel"),
        ("compression", 1.34, "resists being pushed in 34 % more", "a bump uses less of the travel"),
    ],
)
def test_a_change_says_what_the_motion_does(side, value, does, so):
    text = changes.effect_clause(compared(side, ratio(value, value - 0.05, value + 0.05), "away"), "metric")

    assert does in text
    assert so in text


def test_the_verdict_stands_first_on_each_side(drained):
    opening = change_sections(drained, "metric")[0]

    assert opening.title == ""
    assert [point.partition(":")[0] for point in opening.points[:2]] == [motion.SIDE_TITLE[s] for s in SIDES]
    assert "no clear change (98 % sure that it is below 10 %)" in opening.points[0]
    assert "moved away from the target (98 % sure)" in opening.points[1]


def test_a_real_change_inside_the_band_is_no_failure_to_see_one():
    """A clear ratio with the verdict "no clear change" means: inside the band before and after."""
    for change, changed, words in (
        (ratio(0.85, 0.8, 0.9), True, "a real change, but inside the target before and after (98 % sure)"),
        (ratio(0.85, 0.7, 1.1), False, "no clear change; inside the target before and after (98 % sure)"),
    ):
        side = compared("rebound", change, "no clear change", changed=changed)

        assert changes.verdict_clause(side) == words


def test_the_summary_is_one_paragraph_that_says_both_sides(drained):
    text = change_summary(drained)

    assert "\n" not in text
    assert all(motion.SIDE_TITLE[side] in text for side in SIDES)


def test_without_a_machine_the_change_is_said_but_no_verdict():
    sides = [compared(s, ratio(0.66, 0.61, 0.72), "cannot tell", band=False) for s in SIDES]
    text = change_summary(comparison(*sides))

    assert "a clear change; toward the target or away cannot be told without the machine" in text
    assert "34 % less" in text


def test_a_side_that_was_not_seen_names_the_test_that_would_show_it():
    fit = replace(bench_fit(), kind="bounce", rebound=SideFit("rebound", False))
    sentence = fits.side_sentence(judge(fit), "rebound", "metric")

    assert "not seen in this test; to see it, push the corner down and let go" in sentence


def test_without_a_corner_both_sides_are_said_at_one_speed():
    """The usual speed, whatever else each side was tested at."""
    fit = bench_fit()
    rebound = replace(fit.rebound, secant=fit.rebound.secant[1:])
    judged = judge(replace(fit, rebound=rebound))

    said = [fits.side_sentence(judged, side, "metric") for side in SIDES]
    assert all(text.endswith("at 0.26 m/s.") for text in said)


def test_a_side_missing_on_one_page_only_says_where():
    sides = [compared(s, None, "cannot tell", changed=None) for s in SIDES]
    result = comparison(*sides)
    blind = replace(result.after.fit, rebound=SideFit("rebound", False))
    text = changes.side_sentences(replace(result, after=judge(blind)), "rebound", "metric")

    assert text.endswith("(Missing after.)")


@pytest.mark.parametrize("place", ["below", "inside", "above", "uncertain", "unknown"])
def test_every_place_against_the_band_has_its_words(place):
    judged = JudgedSide("rebound", band=(0.45, 0.75), place=place, probability=0.98)
    text = fits.place_clause(judged)

    assert "0.45 to 0.75" in text
    assert ("98 % sure" in text) == (place in ("below", "inside", "above"))
    assert motion.meaning_outside("rebound", place) in text


def test_a_dead_stroke_that_came_is_said_and_one_that_stayed_is_not(drained):
    assert len(changes.dead_stroke_points(drained, "metric")) == 1
    assert "6.0 ± 0.4 mm on the way out" in changes.dead_stroke_points(drained, "metric")[0]
    assert changes.dead_stroke_points(replace(drained, after=drained.before), "metric") == ()


@pytest.mark.parametrize(
    ("law", "words"),
    [
        (Line(1500.0), "one value, 1500 N·s/m"),
        (Power(900.0, 0.8), "to the power 0.80"),
        (TwoKnees(3000.0, 1500.0, 800.0, 0.1, 0.4), "3000 N·s/m up to 0.10 m/s, 1500 N·s/m up to 0.40 m/s"),
    ],
)
def test_every_law_has_a_sentence(law, words):
    side = SideFit("rebound", True, law=law)

    assert words in fits.law_sentence(side, "metric")


def test_notes_on_both_sides_are_said_once():
    notes = [Note("no-corner", side=side) for side in SIDES]

    assert fits.note_points(notes) == (
        "The damping ratio of compression and rebound needs a corner: mass, spring, motion ratio.",
    )


def test_files_read_alike_share_a_point():
    points = fits.decided_points([("a.csv", ("kind sweep",)), ("b.csv", ("kind sweep",)), ("c.csv", ())])

    assert points == ("a.csv, b.csv: Kind sweep.",)


def test_a_match_says_which_of_the_two_does_what():
    side = SideMatch("rebound", (at := ChangeAt(0.13, ratio(0.8, 0.75, 0.85)),), False, 0.99, (), at)
    even = SideMatch("compression", (at := ChangeAt(0.13, ratio(1.0, 0.97, 1.03)),), True, 0.99, (), at)
    pair = PairMatch(judge(bench_fit()), judge(after_fit()), (even, side), False, 0.1)
    text = pair_summary(pair, ("left.csv", "right.csv"))

    assert text.startswith("Not matched: rebound differs by more than 10 %.")
    assert "right.csv holds the spring back 20 % less (15 to 25 % less) on the way out than left.csv" in text


# -- figures


@pytest.mark.parametrize(
    ("value", "half", "text"),
    [
        (1523.4, 37.2, "1520 ± 40"),
        (1523.4, 137.2, "1520 ± 140"),
        (1523.4, 3.72, "1523 ± 4"),
        (0.12345, 0.0011, "0.1235 ± 0.0011"),
        (0.5, 2.0, "0 ± 2"),
        (-0.001, 0.02, "0.00 ± 0.02"),
    ],
)
def test_the_interval_picks_the_digits(value, half, text):
    """One figure of the half width, two when it starts with 1."""
    assert figures.bare(Estimate(value, value - half, value + half, "N"), "force", "metric") == text


def test_a_lopsided_or_open_interval_is_written_out():
    assert figures.bare(Estimate(6.2, 5.1, 9.4, "N"), "force", "metric") == "6 (5 to 9)"
    assert figures.bare(Estimate(6.2, 5.1, INF, "N"), "force", "metric") == "6 (at least 5)"
    assert figures.bare(Estimate(6.2, -INF, INF, "N"), "force", "metric") == "6 (no bound)"
    assert figures.bare(None, "force", "metric") == "-"


@pytest.mark.parametrize(
    ("estimate", "text"),
    [
        (ratio(0.66, 0.61, 0.72), "34 % less (28 to 39 % less)"),
        (ratio(1.34, 1.28, 1.39), "34 % more (28 to 39 % more)"),
        (ratio(0.98, 0.93, 1.03), "2 % less (7 % less to 3 % more)"),
        (ratio(1.004, 1.001, 1.007), "0.4 % more (0.1 to 0.7 % more)"),
        (ratio(2.6, 2.1, 3.3), "2.6 times as much (2.1 to 3.3 times)"),
        (ratio(0.9, 0.0, INF), "10 % less (anything is possible)"),
        (ratio(1.5, 1.2, INF), "50 % more (at least 20 % more)"),
        (ratio(1.5, 0.8, INF), "50 % more (20 % less or anything above)"),
        (ratio(2.5, 1.2, INF), "2.5 times as much (at least 1.2 times)"),
        (ratio(2.5, 0.0, INF), "2.5 times as much (anything is possible)"),
    ],
)
def test_a_ratio_in_words(estimate, text):
    assert figures.more_or_less(estimate) == text


@pytest.mark.parametrize(
    ("estimate", "text"),
    [
        (ratio(0.66, 0.61, 0.72), "-34 % (-39 to -28)"),
        (ratio(1.0, 0.96, 1.04), "0 % (-4 to +4)"),
        (ratio(2.6, 2.1, 3.3), "x 2.6 (2.1 to 3.3)"),
        (ratio(1.5, 1.2, INF), "+50 % (+20 to no bound)"),
    ],
)
def test_a_ratio_in_a_table(estimate, text):
    assert figures.signed_change(estimate) == text


@pytest.mark.parametrize(
    ("low", "high", "text"),
    [(0.50, 0.54, "0.52 ± 0.02"), (0.516, 0.524, "0.520 ± 0.004"), (0.4, 0.8, "0.52 (0.40 to 0.80)")],
)
def test_a_damping_ratio_has_two_figures_or_three(low, high, text):
    assert figures.zeta_text(Estimate(0.52, low, high, "1")) == text


def test_a_best_guess_of_no_change_is_said_as_such():
    change = figures.more_or_less(ratio(1.001, 0.92, 1.09))

    assert motion.unclear_effect("compression", change) == (
        "the best guess is that the damper resists being pushed in as much as before (8 % less to 9 % more)"
    )


def test_a_probability_is_never_a_bare_certainty():
    assert figures.probability_text(0.9999) == "over 99 % sure"
    assert figures.probability_text(0.976) == "98 % sure"


def test_units_follow_the_choice():
    """An inch is 25.4 mm and a pound of force 4.4482216152605 N by definition."""
    c = Estimate.exact(1000.0, "N*s/m")

    assert figures.speed_text(0.26, "metric") == "0.26 m/s"
    assert figures.speed_text(0.26, "us") == f"{0.26 / 0.0254:.3g} in/s"
    assert figures.amount(c, "damping", system="metric") == "1000 N·s/m"
    assert figures.amount(c, "damping", system="us") == f"{1000 / 4.4482216152605 * 0.0254:.2f} lbf·s/in"


def test_an_amount_of_another_kind_keeps_its_unit():
    assert figures.amount(Estimate(2.0, 1.0, 3.0, "N*s**2/m**2"), system="us") == "2.0 ± 1.0 N·s²/m²"


def test_every_unit_that_is_shown_by_kind_is_the_unit_of_that_kind():
    for unit, kind in figures._KIND_OF_UNIT.items():
        assert SI_UNIT[kind] == unit


@pytest.mark.parametrize(
    ("text", "us"),
    [
        ("fell by 34 % at 0.26 m/s", "fell by 34 % at 10.2 in/s"),
        ("0.05, 0.13 m/s only before", "1.97, 5.12 in/s only before"),
        ("from 0.05 to 0.52 m/s", "from 1.97 to 20.5 in/s"),
        ("20 degC before", "68 °F before"),
        ("6.2 mm, 12 N", "0.244 in, 2.7 lbf"),
        ("0.5 m/s2 and 3 Nm stay", "0.5 m/s2 and 3 Nm stay"),
        ("zeta was 0.5", "the damping ratio was 0.5"),
    ],
)
def test_sentences_of_other_rooms_follow_the_units(text, us):
    assert figures.readable(text, "us") == us


# -- cautions and layout


def test_cautions_belong_to_their_step_and_come_once():
    for kind in KINDS:
        assert cautions_for([kind, kind])
        assert len(set(cautions_for([kind], after_change=True))) == len(
            cautions_for([kind], after_change=True)
        )
    assert CAUTIONS["hung-weights"] in cautions_for(["weights"])
    assert CAUTIONS["hung-weights"] not in cautions_for(["cycle"])
    assert CAUTIONS["not-a-safe-jump"] in cautions_for(["sweep"], after_change=True)
    assert CAUTIONS["used-oil"] not in cautions_for(["sweep"])
    assert cautions_for([]) == ()


def test_a_table_is_aligned():
    lines = table_lines(Table("", ("speed", "c"), (("0.05", "1520 ± 40"), ("1.04", "9"))))

    assert lines == ["speed          c", "----------------", "0.05   1520 ± 40", "1.04           9"]


@pytest.mark.parametrize("width", [40, 80, 100])
def test_a_page_keeps_to_its_width(width, drained):
    table = Table("", ("a", "b"), (("1", "2"),))
    section = Section("Title", ("word " * 60,), ("point " * 60,), (table,))

    assert max(map(len, page([section], width).splitlines())) <= width


@pytest.mark.parametrize("system", ["metric", "us"])
def test_the_tables_of_a_change_fit_a_terminal_of_80_columns(system, drained):
    for table in change_sections(drained, system)[1].tables[:2]:
        assert max(map(len, table_lines(table))) <= 80


def test_an_empty_section_is_left_out():
    assert page([Section("Nothing"), Section("Something", ("word",))]) == "Something\n  word\n"


@pytest.mark.parametrize(
    "text", ["33 % less", "0.26 m/s", "1500 ± 300 N·s/m", "13.9 ± 0.4 N/mm", "41 mm", "1.92 ± 0.04 Hz"]
)
def test_a_value_stays_on_one_line(text):
    for width in range(40, 60):
        words = "so the damper works a little more than it did before, by " + text + " and some more words"

        assert any(text in line for line in page((Section("", (words,)),), width).splitlines())


def test_an_answer_from_a_doubtful_input_is_conditional():
    yes = Headline("Yes", "Both moved.")

    assert provided(yes, ()) == yes
    assert provided(yes, ("Look.",)).answer == "Yes, if the input is right"
    assert provided(Headline("", "Both stand."), ("Look.",)).answer == ""


def test_an_open_verdict_says_what_is_likeliest():
    away = replace(
        compared("rebound", ratio(0.9, 0.7, 1.1), "cannot tell"), likeliest="away", probability=0.64
    )
    inside = replace(away, likeliest="inside")

    assert changes.verdict_clause(away).endswith("(likeliest: away, 64 %)")
    assert changes.verdict_clause(inside).endswith("(likeliest: inside the target before and after, 64 %)")


def test_an_open_match_names_the_speed_that_is_open():
    wide = ChangeAt(0.05, ratio(0.99, 0.86, 1.14))
    narrow = ChangeAt(0.26, ratio(0.97, 0.90, 1.04))
    side = SideMatch("compression", (wide, narrow), None, 0.81, (), wide)
    pair = PairMatch(judge(bench_fit()), judge(after_fit()), (side, replace(side, side="rebound")), None, 0.1)

    text = pair_summary(pair, ("left.csv", "right.csv"))

    assert "cannot be told (alike is 81 % likely). It is open at 0.05 m/s" in text
