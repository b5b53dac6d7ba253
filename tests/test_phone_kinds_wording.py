"""Words of bounces, drives and jumps: the verdict first, in either system, and nothing that can be misread."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from tests import moving_results as results
from tests.test_wording import MISREAD
from tuner.comparing import MeasureChange, compare, match
from tuner.estimates import Estimate, Note
from tuner.exchange.measures import change_measure_values
from tuner.fitting.measures import flight_means, jump_notes
from tuner.judging import judge
from tuner.report.tags import change_tags
from tuner.wording import (
    change_headline,
    change_sections,
    change_summary,
    fit_headline,
    fit_sections,
    outcomes,
    page,
    pair_sections,
)
from tuner.wording.layout import ONWARD, points_of

PAGES = {
    "bounce": lambda system: fit_sections(
        results.judged(results.bounce_fit(rebound=None)), system, notes=results.bounce_fit().notes
    ),
    "drive": lambda system: fit_sections(results.judged(results.drive_fit()), system),
    "jump": lambda system: fit_sections(results.judged(results.jump_fit()), system),
    "bounce_change": lambda system: change_sections(results.bounce_change(), system),
    "drive_change": lambda system: change_sections(
        results.drive_change(), system, notes=results.drive_change().notes
    ),
    "jump_change": lambda system: change_sections(results.jump_change(), system),
}


def opening(sections) -> list[str]:
    return list(sections[0].points)


def only(points, start: str) -> str:
    (found,) = [point for point in points if point.startswith(start)]
    return found


@pytest.mark.parametrize("name", sorted(PAGES))
@pytest.mark.parametrize("system", ["metric", "us"])
def test_pages_read_as_they_were_read_by_a_person(golden, name, system):
    golden(f"{name}{'' if system == 'metric' else '_us'}.txt", page(PAGES[name](system)))


@pytest.mark.parametrize("name", sorted(PAGES))
@pytest.mark.parametrize("system", ["metric", "us"])
def test_nothing_can_be_misread(name, system):
    text = page(PAGES[name](system))

    assert MISREAD.search(text) is None
    assert "zeta" not in text
    assert "nan" not in text.lower().split()
    assert ".." not in text.replace("...", "")


@pytest.mark.parametrize("name", sorted(PAGES))
def test_us_pages_have_no_metric_units(name):
    text = page(PAGES[name]("us"))

    for unit in (" mm", " m/s", " N/mm", " kg", " N·s/m"):
        assert unit not in text


@pytest.mark.parametrize("name", sorted(PAGES))
def test_pages_fit_the_screen(name):
    assert max(map(len, page(PAGES[name]("metric")).splitlines())) <= 96


# --- bounces -------------------------------------------------------------------------------------------------------


def test_a_side_that_was_not_seen_names_the_test_that_shows_it():
    points = opening(fit_sections(results.judged(results.bounce_fit(rebound=None)), "metric"))

    assert "not seen in this test" in only(points, "Rebound")
    assert "lift and drop instead of push and let go" in only(points, "Rebound")


def test_the_frequency_is_held_against_spring_and_mass():
    """28 N/mm * 0.49 on 92 kg is 1.944 Hz."""
    agrees = opening(fit_sections(results.judged(results.bounce_fit()), "metric"))
    differs = opening(fit_sections(results.judged(results.bounce_fit(frequency=2.6)), "metric"))

    assert "as expected from spring and mass (1.94 Hz)" in only(agrees, "The corner swings")
    assert "not as expected" in only(differs, "The corner swings")


def test_friction_that_may_be_nothing_is_at_most():
    fit = replace(results.bounce_fit(), friction=Estimate(4.0, 0.0, 12.0, "N"))
    points = opening(fit_sections(results.judged(fit), "metric"))

    assert only(points, "Dry friction") == "Dry friction at the wheel: at most 12 N."


def test_a_bounce_without_a_machine_still_says_its_ratio():
    points = opening(fit_sections(judge(results.bounce_fit()), "metric"))

    assert "damping ratio 0.27 ± 0.02" in only(points, "Compression")
    assert only(points, "The corner swings") == "The corner swings at 1.93 ± 0.02 Hz."


def test_bounces_are_compared_by_their_ratios():
    text = " ".join(page(change_sections(results.bounce_change(), "metric")).split())

    assert "moved away from the target" in text
    assert "holds the spring back 36 % less" in text


def test_two_corners_are_matched_by_their_ratios():
    pair = match([results.bounce_fit()], [results.bounce_fit(0.27, 0.4)])
    text = page(pair_sections(pair, ("left", "right"), "metric"))

    assert "Not matched: rebound differs" in text
    assert "Damping ratio from the bounce" in text


def test_the_bounces_that_were_used_are_no_doubt():
    sections = {s.title: s for s in PAGES["bounce"]("metric")}

    assert "bounce.csv: 6 bounces used" in sections["What was used of the recordings"].points[0]
    assert "What is uncertain, and why" not in sections


# --- drives --------------------------------------------------------------------------------------------------------


def test_a_drive_begins_with_where_it_rode():
    first = opening(PAGES["drive"]("metric"))[0]

    assert first.startswith("Ride position: compressed by 94 ± 2 mm on average.")
    assert "45 % of its travel" in first
    assert "4 ± 2 mm more than at rest" in first


def test_stops_are_counted_with_what_the_count_allows():
    points = opening(PAGES["drive"]("metric"))

    assert only(points, "Bottoming").startswith(
        "Bottoming: twice in 1.7 minutes. That is 1.2 (0.1 to 4.3) a minute"
    )
    assert "closed at 1.3 m/s" in only(points, "Bottoming")
    assert (
        only(points, "Topping out")
        == "Topping out: not once in 1.7 minutes. At most 2.2 a minute on such ground."
    )


def test_stops_that_cannot_be_counted_are_not_said_to_be_none():
    points = opening(fit_sections(judge(results.drive_fit(stops=False)), "metric"))

    assert not [p for p in points if p.startswith(("Bottoming", "Topping"))]


@pytest.mark.parametrize(
    ("packing", "figure", "words"),
    [
        (results.pm(0.006, 0.002, "m"), "6 ± 2 mm deeper", "the return is slow for this ground"),
        (results.pm(-0.006, 0.002, "m"), "none", "6 ± 2 mm further out"),
        (results.pm(0.001, 0.004, "m"), "not seen", "at most 5.0 mm deeper"),
    ],
)
def test_packing_down_is_said_by_its_interval(packing, figure, words):
    point = only(opening(fit_sections(judge(results.drive_fit(packing=packing)), "metric")), "Packing")

    assert point.startswith(f"Packing down: {figure}.")
    assert words in point


def test_a_drive_says_that_it_shows_no_damping():
    for name in ("drive", "drive_change", "jump", "jump_change"):
        assert "not the damping" in opening(PAGES[name]("metric"))[-1]


def test_a_change_of_drives_leads_with_what_became_of_it():
    points = opening(PAGES["drive_change"]("metric"))

    assert only(points, "Ride position").startswith("Ride position: it rides deeper in its travel. ")
    assert "difference +4.0 ± 1.0 mm" in only(points, "Ride position")
    assert only(points, "Peak speed coming out").startswith(
        "Peak speed coming out: the shaft comes out more slowly."
    )
    assert only(points, "Bottoming").startswith(
        "Bottoming: no clear change. 1.2 (0.1 to 4.3) a minute before"
    )
    assert only(points, "Topping out").startswith("Topping out: not once, before or after.")
    assert only(points, "Not known") == "Not known: packing down; the notes below say why."


def test_one_drive_of_each_is_said():
    points = opening(PAGES["drive_change"]("metric"))

    assert only(points, "There is one drive of each setting")


def test_a_difference_that_may_be_the_grounds_is_no_verdict():
    points = opening(change_sections(results.drive_change(changed=None), "metric"))

    assert only(points, "Ride position").startswith("Ride position: cannot tell. ")


def test_a_reason_that_most_measures_share_is_said_once():
    (why,) = [s for s in PAGES["drive_change"]("metric") if s.title == "Why"]

    assert why.points.count("Over the same ground, 3 drives before and 3 after.") == 1


def test_drives_need_no_page_about_the_corner():
    assert not [s for s in PAGES["drive"]("metric") if s.title.startswith("The corner")]


# --- jumps ---------------------------------------------------------------------------------------------------------


def test_a_jump_says_which_way_the_nose_goes():
    """-1.3 rad/s is 74.5 degrees a second nose down."""
    down, up = (opening(fit_sections(judge(results.jump_fit(p)), "metric"))[0] for p in (-1.3, 1.3))

    assert down.startswith("Turning in the air: nose down, 74 ± 3 °/s.")
    assert up.startswith("Turning in the air: nose up, 74 ± 3 °/s.")


def test_an_unknown_direction_is_said_to_be_unknown():
    first = opening(fit_sections(judge(results.jump_fit(1.3, known=False)), "metric"))[0]

    assert "which way is not known" in first
    assert "nose" not in first


def test_a_machine_that_hardly_turns_is_not_given_a_direction_for_sure():
    first = opening(fit_sections(judge(results.jump_fit(0.02)), "metric"))[0]

    assert "which may be none at all" in first


def test_a_landing_past_the_limit_is_at_least():
    points = opening(fit_sections(judge(results.jump_fit(peak_open=True)), "metric"))

    assert only(points, "Landing").startswith("Landing: at least 52.00 m/s² (5.3 g).")
    assert "sensor's limit" in only(points, "Landing")


def thrown_and_rebound(gyroscope=True):
    """A throw and the hop after it, as one recording shows them: jumps of two kinds."""
    fit = results.jump_fit(gyroscope=gyroscope)
    throw = replace(fit.jumps[0], airtime=results.pm(0.87, 0.01, "s"))
    hop = replace(throw, airtime=results.pm(0.36, 0.01, "s"), landing_peak=results.pm(21.0, 1.0, "m/s**2"))
    return replace(fit, **flight_means((throw, hop)), notes=jump_notes((throw, hop)))


def test_jumps_unlike_each_other_are_listed_and_not_averaged():
    """The mean of two that far apart is no jump, and its interval reached below zero."""
    page = fit_sections(judge(thrown_and_rebound(gyroscope=False)), "metric")
    points = opening(page)

    assert only(points, "Time").startswith(
        "Time in the air: (1) 0.870 ± 0.010 s, (2) 0.360 ± 0.010 s. Jump by jump"
    )
    assert "(1) 52 (50 to 55) m/s² (5.3 g), (2) 21.0 ± 1.0 m/s² (2.1 g)" in only(points, "Landing")
    assert "same ramp at the same speed" in " ".join(points_of(page, ONWARD))


def test_unlike_jumps_are_listed_against_like_ones():
    change = compare([thrown_and_rebound()], [results.jump_fit(-0.9)])
    page = change_sections(change, "metric")
    points = opening(page)

    assert only(points, "Time in").startswith(
        "Time in the air: cannot tell, the jumps are unlike each other."
    )
    assert "Before: (1) 0.870 ± 0.010 s, (2) 0.360 ± 0.010 s. After: 0.550 ± 0.012 s." in only(
        points, "Time in"
    )
    assert "(2) nose down" in only(points, "Pitch rate")
    assert [change.changed for change in change.measures] == [None] * 4
    assert "compare like with like" in " ".join(points_of(page, ONWARD))
    assert change_headline(change).answer == "Cannot tell"
    assert len(change_tags(change, "metric")) == 4
    values = change_measure_values(change.measures)
    assert values["airtime"]["before"] is None
    assert values["airtime"]["after"]["low"] > 0.0


def test_jumps_of_two_settings_that_are_unlike_are_a_confounder():
    fit = results.jump_fit()
    short, long = (
        replace(fit, **flight_means([replace(j, airtime=time) for j in fit.jumps]))
        for time in (results.pm(0.4, 0.01, "s"), results.pm(0.9, 0.01, "s"))
    )

    assert "other-jump" in {note.code for note in compare([short], [long]).confounders}
    assert "other-jump" not in {note.code for note in compare([short], [short]).confounders}


def test_us_landings_are_in_g():
    points = opening(PAGES["jump"]("us"))

    assert "5.3 (5.1 to 5.6) g" in only(points, "Landing")


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        (-1.3, -0.9, "the tail comes up less (nose down)"),
        (-0.9, -1.3, "the tail comes up more (nose down)"),
        (1.3, 0.9, "the nose comes up less"),
        (0.9, 1.3, "the nose comes up more"),
        (-0.5, 0.5, "the nose now comes up"),
        (0.5, -0.5, "the tail now comes up (nose down)"),
    ],
)
def test_turning_is_compared_by_what_comes_up(before, after, words):
    points = opening(change_sections(results.jump_change(before, after), "metric"))

    assert only(points, "Pitch rate").startswith(f"Pitch rate in the air: {words}. Nose ")


def test_sizes_without_direction_are_compared_without_one():
    points = opening(change_sections(results.jump_change(1.3, 0.9, known=False), "metric"))

    assert "nose" not in only(points, "Pitch rate").partition(". ")[2].lower()


def test_a_measure_that_is_missing_on_one_side_says_so():
    points = opening(PAGES["jump_change"]("metric"))

    assert only(points, "Turned") == "Turned in the air: not known on both sides (not known after)."


# --- heads ---------------------------------------------------------------------------------------------------------


def test_the_summary_for_scripts_is_the_opening():
    assert change_summary(results.jump_change()).startswith(
        "Pitch rate in the air: the tail comes up less (nose down)."
    )


def test_headlines_of_drives_and_jumps():
    assert change_headline(results.jump_change()) == (
        "A clear change",
        "The tail comes up less (nose down); it lands softer. Whether that is better you must say: jumps show no "
        "damping.",
    )
    still = replace(
        results.jump_change(), measures=tuple(c for c in results.jump_change().measures if c.changed is False)
    )
    assert change_headline(still) == ("No clear change", "No clear change of time in the air.")
    open_ = MeasureChange(
        "airtime",
        results.pm(0.5, 0.1, "s"),
        results.pm(0.6, 0.1, "s"),
        None,
        None,
        (Note("one-jump", case="each", before=1, after=1),),
    )
    assert change_headline(replace(still, measures=(open_,))) == (
        "Cannot tell",
        "1 jump before, 1 after: how far two jumps of one setting differ is not known, make three of each.",
    )


def test_a_fit_of_a_drive_has_a_headline():
    assert fit_headline(results.judged(results.drive_fit())).sentence


def test_every_measure_has_a_name():
    for comparison in (results.drive_change(), results.jump_change()):
        for change in comparison.measures:
            assert outcomes.name_of(change)
            assert outcomes.verdict(change)


def test_an_open_peak_is_at_least_in_a_change_too():
    peak = Estimate(52.0, 50.0, math.inf, "m/s**2")
    change = MeasureChange(
        "landing_peak", peak, results.pm(44.0, 2.0, "m/s**2"), None, None, (Note("too-wide"),)
    )
    text = outcomes.sentence_of(change, results.jump_change(), "metric")

    assert text == "Landing: cannot tell. At least 52.00 m/s² (5.3 g) before, 44 ± 2 m/s² (4.5 g) after."


def test_notes_of_the_ground_stand_with_what_was_used():
    sections = {s.title: s for s in PAGES["drive_change"]("metric")}

    assert any("72 %" in p for p in sections["What was used of the recordings"].points)
