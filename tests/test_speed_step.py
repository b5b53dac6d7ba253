"""A bounce is placed at the speed of its target: what ordinary dampers, its own curve or a bench say in between."""

from __future__ import annotations

import math

import numpy as np
import pytest

from sample_data.damper_model import true_force, true_secant
from sample_data.random_dampers import random_damper
from tuner.comparing import compare
from tuner.comparing.agreement import agreements
from tuner.estimates import Estimate
from tuner.exchange import compare_value, fit_value
from tuner.fitting.results import REFERENCE_SPEEDS, Candidate, Curve, DampingFit, Secant, SideFit
from tuner.fitting.side import shows_no_bend
from tuner.fitting.speed_step import speed_step
from tuner.judging import judge, judge_side
from tuner.laws import Knee, Line, Power
from tuner.machine import TARGETS, Corner, MotionRatio, critical_damping
from tuner.records import SIDES
from tuner.wording import change_headline, fits
from tuner.wording.changes import side_sentences
from tuner.wording.damper import agreement_sentence, to_check
from tuner.wording.doubts import note_text
from tuner.wording.onward import onward_change, onward_fit

TARGET = TARGETS["rough ground and jumps"]
CORNER = Corner(
    name="rear",
    sprung_mass=Estimate.from_log_sd(92.0, 0.01, "kg"),
    spring_rate=Estimate.from_log_sd(28e3, 0.01, "N/m"),
    motion_ratio=MotionRatio(Estimate.from_log_sd(0.7, 0.01, "1")),
)
PER_ZETA = critical_damping(CORNER).value / 0.7**2  # N*s/m at the shaft


def bounced(side, zeta, speed=0.16, log_sd=0.01, **more):
    return SideFit(side, True, zeta=Estimate.from_log_sd(zeta, log_sd, "1"), zeta_speed=speed, **more)


def bounce(compression, rebound, **more):
    sides = bounced("compression", compression, **more), bounced("rebound", rebound, **more)
    return DampingFit("bounce", *sides, corner=CORNER)


def curve_of(force, top=1.04, share=0.02):
    speed = np.linspace(0.0, top, 209)
    value = np.asarray(force(speed))
    return Curve(speed, value, value * (1 - share), value * (1 + share))


def benched(side, force, share=0.02):
    secants = tuple(
        Secant(v, Estimate.from_log_sd(float(force(v)) / v, share / 1.96, "N*s/m")) for v in REFERENCE_SPEEDS
    )
    return SideFit(side, True, secant=secants, speed_range=(0.0, 1.04), curve=curve_of(force, share=share))


def bench(compression, rebound, **more):
    return DampingFit(
        "cycle", benched("compression", compression, **more), benched("rebound", rebound, **more)
    )


def knee(zeta, ratio=0.5, at=0.2):
    return Knee(zeta * PER_ZETA, ratio * zeta * PER_ZETA, at).force


@pytest.mark.parametrize("heres", [(0.10, 0.22), (0.32, 0.50)])
def test_the_moved_interval_holds_the_truth_of_ordinary_dampers(heres):
    """True secants of random valves, bounced slower or faster than the target and known within 3 %."""
    rng = np.random.default_rng(11)
    held = []
    for damper in (random_damper(rng) for _ in range(300)):
        for side in SIDES:
            here = math.exp(rng.uniform(*np.log(heres)))
            seen, truth = true_secant(damper, side, np.array([here, 0.26])) / PER_ZETA
            fit = bounced(side, seen * math.exp(0.03 * rng.standard_normal()), here, 0.03)
            held.append(judge_side(fit, CORNER, TARGET).at_band.contains(truth))

    assert 0.92 <= np.mean(held) <= 0.98


def test_bench_curves_of_ordinary_dampers_tell_the_step_far_better():
    rng = np.random.default_rng(12)
    held, widths = [], []
    for damper in (random_damper(rng) for _ in range(60)):
        for side in SIDES:
            here = rng.uniform(0.10, 0.22)
            seen, truth = true_secant(damper, side, np.array([here, 0.26])) / PER_ZETA
            fit = bounced(side, seen * math.exp(0.03 * rng.standard_normal()), here, 0.03)
            known = benched(side, lambda v, d=damper, s=side: true_force(d, s, v))
            judged = judge_side(fit, CORNER, TARGET, bench=known)
            held.append(judged.at_band.contains(truth))
            widths.append(judged.at_band.log_sd)

    assert np.mean(held) >= 0.92
    assert np.max(widths) < 0.04


def test_a_bounce_well_inside_at_its_own_speed_is_not_sure_inside_at_the_targets():
    judgement = judge(bounce(0.28, 0.72), CORNER, TARGET)
    rebound = judgement.rebound

    assert rebound.place == "uncertain"
    assert rebound.judged_at == 0.16
    assert rebound.at_target.zeta.value == pytest.approx(0.72)
    sentence = fits.side_sentence(judgement, "rebound", "metric")
    assert "0.72 ± 0.01 at 0.16 m/s, where the bounce works; the target is meant at 0.26 m/s" in sentence
    assert "99 %" not in sentence
    assert any("bench test" in text for text in onward_fit(judgement))


def test_the_same_speed_needs_no_step():
    judged = judge(bounce(0.28, 0.72, speed=0.26), CORNER, TARGET).rebound

    assert (judged.step, judged.judged_at, judged.place) == (None, None, "inside")


def test_a_speed_nobody_knows_is_assumed_and_said():
    judgement = judge(bounce(0.28, 0.72, speed=None), None, TARGET)

    assert judgement.rebound.step.assumed
    assert judgement.rebound.judged_at is None
    assert any("taken as usual" in note_text(note) for note in judgement.rebound.notes)
    assert "where the bounce works" not in fits.side_sentence(judgement, "rebound", "metric")


def test_a_knee_of_its_own_tells_the_step_within_its_range_and_usual_dampers_beyond():
    law = Knee(1000.0, 400.0, 0.15)
    side = bounced("rebound", 0.7, law=law, curve=curve_of(law.force, top=0.22), speed_range=(0.0, 0.22))
    inside, beyond = speed_step(side, 0.2), speed_step(side, 0.26)

    assert inside.shift == pytest.approx(math.log(law.secant(0.2) / law.secant(0.16)), abs=1e-3)
    assert (inside.sd_usual, inside.told_by) == (0.0, "its own curve")
    assert beyond.sd_usual == pytest.approx(0.20 * math.log(0.26 / 0.22))


def test_a_line_of_its_own_tells_nothing():
    side = bounced("rebound", 0.7, law=Line(1000.0), curve=curve_of(Line(1000.0).force, top=0.5))

    assert speed_step(side, 0.26).told_by == "usual dampers"


def test_json_names_the_speed_that_was_judged():
    before, after = bounce(0.28, 0.72), bounce(0.28, 0.47)
    entry = fit_value(judge(before, CORNER, TARGET), ())["sides"]["rebound"]["zeta"][0]
    side = compare_value(compare([before], [after], CORNER, TARGET), "", ())["sides"]["rebound"]

    assert entry["speed"] is None
    assert entry["judged_at"] == 0.16
    assert side["judged_at"] == pytest.approx(0.16)
    assert side["before"][0]["judged_at"] == 0.16
    assert (
        "judged_at"
        not in fit_value(judge(bounce(0.28, 0.72, speed=0.26), CORNER, TARGET), ())["sides"]["rebound"][
            "zeta"
        ][0]
    )


def test_the_bend_moves_before_and_after_alike_and_feigns_no_change():
    """Monte Carlo of the same: one slope for both, own errors; the verdict's probability must be its share."""
    one, other = 0.95, 0.62
    side = compare(
        [bounce(0.28, one, log_sd=0.03)], [bounce(0.28, other, log_sd=0.03)], CORNER, TARGET
    ).rebound
    rng = np.random.default_rng(4)
    n = 400_000
    step = (-0.12 + 0.20 * rng.standard_normal(n)) * math.log(0.26 / 0.16)
    own = math.hypot(0.03, 0.05 / 1.96 / math.sqrt(2.0))
    draws = [np.log(z) + step + own * rng.standard_normal(n) for z in (one, other)]
    low, high = np.log(TARGET.rebound)
    gaps = [np.maximum(np.maximum(low - d, d - high), 0.0) for d in draws]
    toward = float(np.mean(gaps[1] < gaps[0]))

    assert side.at_target.ratio.value == pytest.approx(other / one)
    assert {"toward": side.probability}.get(side.likeliest or side.verdict) == pytest.approx(
        toward, abs=0.003
    )


def test_from_80_per_cent_on_an_open_verdict_leans():
    comparison = compare([bounce(0.28, 0.95)], [bounce(0.28, 0.62)], CORNER, TARGET)
    rebound = comparison.rebound
    value = compare_value(comparison, "", ())["sides"]

    assert rebound.verdict == "cannot tell"
    assert value["rebound"]["leaning"] == {"toward": "toward", "probability": rebound.probability}
    assert rebound.probability >= 0.8
    assert "probably moved toward the target (9" in side_sentences(comparison, "rebound", "metric")
    assert change_headline(comparison).answer.startswith("Probably")
    assert any("Keep this change for now" in text for text in onward_change(comparison))
    assert value["compression"]["leaning"] is None


def test_below_80_per_cent_nothing_leans():
    comparison = compare([bounce(0.28, 0.73)], [bounce(0.28, 0.47)], CORNER, TARGET)

    assert comparison.rebound.verdict == "cannot tell"
    assert comparison.rebound.probability < 0.8
    assert comparison.rebound.leaning is None
    assert "probably" not in side_sentences(comparison, "rebound", "metric")


def tried(*laws_and_aicc):
    raw = [math.exp(-0.5 * aicc) for _, aicc in laws_and_aicc]
    return tuple(
        Candidate(law, 1.0, 2, aicc, w / sum(raw)) for (law, aicc), w in zip(laws_and_aicc, raw, strict=True)
    )


@pytest.mark.parametrize(
    ("candidates", "excluded"),
    [
        ((), False),
        (((Line(1500.0), 0.0),), False),
        (((Line(1500.0), 0.0), (Knee(1500.0, 700.0, 0.3), math.inf)), False),
        (((Line(1500.0), 0.0), (Knee(1500.0, 700.0, 0.3), 2.0)), False),
        (((Line(1500.0), 0.0), (Knee(1500.0, 700.0, 0.3), 12.0), (Power(1600.0, 0.8), 1.5)), False),
        (((Line(1500.0), 0.0), (Knee(1500.0, 700.0, 0.3), 12.0), (Power(1510.0, 0.99), 1.5)), True),
    ],
)
def test_in_proportion_is_said_only_where_a_bend_was_tried_and_lost(candidates, excluded):
    side = SideFit("rebound", True, law=Line(1500.0), speed_range=(0.05, 1.04), candidates=tried(*candidates))

    assert shows_no_bend(side) == excluded
    assert ("in proportion" in fits.law_sentence(side, "metric")) == excluded


def test_a_bounce_excludes_a_bend_only_beyond_ordinary_knees():
    slow, fast = (bounced("rebound", 0.7, law=Line(1500.0), speed_range=(0.0, top)) for top in (0.27, 1.1))

    assert "whether the damper bends with speed it cannot show: harder bounces or a bench sweep would" in (
        fits.law_sentence(slow, "metric")
    )
    assert "in proportion" in fits.law_sentence(fast, "metric")


def test_a_bench_and_a_bounce_agree_at_the_speed_they_share():
    """Closed form: c r / (2 sqrt(k m)) at 0.16 m/s, below the knee; 1 % each of m and k as roots, and of r."""
    one = judge(bench(knee(0.30), knee(0.71)), CORNER, TARGET)
    found = agreements([judge(bounce(0.30, 0.73), CORNER, TARGET), one])
    rebound = found[1]
    own = math.log((1 + 0.02) / (1 - 0.02)) / (2 * 1.96)

    assert [each.side for each in found] == list(SIDES)
    assert rebound.kinds == ("cycle", "bounce")
    assert rebound.values[0].value == pytest.approx(0.71, rel=1e-3)
    assert rebound.values[0].log_sd == pytest.approx(math.sqrt(own**2 + 0.005**2 * 2 + 0.01**2), rel=0.02)
    assert rebound.agree is True
    assert agreement_sentence(rebound, "metric").endswith(
        "at 0.16 m/s the bench says 0.71 (0.69 to 0.73), the bounce 0.73 (0.72 to 0.74): they agree."
    )
    assert to_check(found) == ()


@pytest.mark.parametrize(
    ("zetas", "words"),
    [((0.36, 0.85), "mass, spring and motion ratio"), ((0.30, 0.90), "clicks, oil and temperature")],
)
def test_a_difference_names_what_to_check(zetas, words):
    one = judge(bench(knee(0.30), knee(0.71)), CORNER, TARGET)
    found = agreements([one, judge(bounce(*zetas), CORNER, TARGET)])

    assert found[1].agree is False
    assert "they differ: the bounce says" in agreement_sentence(found[1], "metric")
    assert words in to_check(found)[0]


def test_an_unsure_bounce_neither_agrees_nor_differs():
    one = judge(bench(knee(0.30), knee(0.71)), CORNER, TARGET)
    found = agreements([one, judge(bounce(0.30, 0.8, log_sd=0.2), CORNER, TARGET)])

    assert found[1].agree is None


def test_without_the_corner_there_is_nothing_to_hold_against_each_other():
    assert agreements([judge(bench(knee(0.3), knee(0.7))), judge(bounce(0.3, 0.7))]) == ()
