"""Single points: bench sweep and hung weights, what they tell and what they leave open."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from tuner.errors import FitError
from tuner.fitting import fit
from tuner.fitting.results import DampingFit, SideFit
from tuner.records import SIDES, Side, SweepRecord, WeightsRecord

SPEEDS = np.array([0.05, 0.09, 0.13, 0.20, 0.26, 0.39, 0.52, 0.78, 1.04])
G = 9.80665


def codes(answer: DampingFit | SideFit) -> set[str]:
    return {note.code for note in answer.notes}


def sweep(
    speeds: np.ndarray = SPEEDS, gas: float = 0.0, friction: float = 12.0, noise: float = 0.0, seed: int = 0
) -> SweepRecord:
    """Make peak forces of a damper that is no law of ours: bleed beside a valve that opens smoothly."""
    rng = np.random.default_rng(seed)
    force = np.concatenate((truth("compression", speeds), -truth("rebound", speeds)))
    force = force * (1 + noise * rng.standard_normal(force.size))
    velocity = np.concatenate((speeds, -speeds))
    return SweepRecord(velocity, force + gas + friction * np.sign(velocity))


def truth(side: Side, speed: np.ndarray | float) -> np.ndarray:
    """Damping force: 1100 (or 2600) N*s/m that turns into 40 % of it around 0.25 m/s."""
    c = 1100.0 if side == "compression" else 2600.0
    v = np.asarray(speed, dtype=float)
    bend = 0.03 * np.log1p(np.exp((v - 0.25) / 0.03)) - 0.03 * math.log1p(math.exp(-0.25 / 0.03))
    return np.asarray(c * v - 0.6 * c * bend)


@pytest.mark.parametrize("seed", range(4))
def test_sweep_intervals_hold_the_damping_without_friction(seed: int) -> None:
    answer = fit(sweep(noise=0.01, seed=seed))

    for side in SIDES:
        for secant in answer.side(side).secant:
            assert secant.c.contains(float(truth(side, secant.speed)) / secant.speed)
            assert abs(secant.c.value * secant.speed / float(truth(side, secant.speed)) - 1) < 0.12
        assert [s.speed for s in answer.side(side).secant] == [0.05, 0.13, 0.26, 0.52, 1.04]


def test_what_a_sweep_cannot_tell_is_named() -> None:
    answer = fit(sweep())

    assert {"gas-taken-as-zeroed"} <= codes(answer)
    assert answer.gas_force is None
    assert codes(answer) & {"friction-inside", "friction-from-intercept"}


def test_gas_force_shows_where_the_bench_was_not_zeroed() -> None:
    answer = fit(sweep(gas=240.0, noise=0.005))

    assert "gas-from-intercept" in codes(answer)
    assert answer.gas_force is not None
    assert answer.gas_force.contains(240.0)
    assert abs(answer.gas_force.value - 240) < 25


def test_where_the_error_of_a_secant_comes_from() -> None:
    """A newton more of friction taken off a tested speed is a newton less of damping: dc/dF = -1/v."""
    side = fit(sweep(noise=0.01)).compression

    assert side.offset is not None
    assert side.offset.contains(12.0)
    for secant in side.secant:
        assert secant.per_offset * secant.speed == pytest.approx(-1.0, abs=0.05)
        parts = (secant.per_offset * side.offset.sd) ** 2 + secant.scattered**2
        assert 0.0 < secant.scattered < secant.c.sd
        assert parts <= 1.05 * secant.c.sd**2


@pytest.mark.parametrize("friction", [0.0, 15.0, 40.0])
def test_a_straight_sweep_is_a_line_whatever_the_friction(friction: float) -> None:
    force = np.concatenate((1500.0 * SPEEDS + friction, -2500.0 * SPEEDS - friction))
    answer = fit(SweepRecord(np.concatenate((SPEEDS, -SPEEDS)), force))

    for side, wanted in (("compression", 1500.0), ("rebound", 2500.0)):
        law = answer.side(side).law  # type: ignore[arg-type]
        assert law is not None
        assert law.name == "line"
        assert law.parameters["c"] == pytest.approx(wanted, rel=0.01)


def test_few_speeds_are_wide_and_said_so() -> None:
    many, few = fit(sweep()), fit(sweep(np.array([0.13, 0.52])))
    one = fit(sweep(np.array([0.26])))

    assert "few-points" in codes(few.compression)
    assert "one-point" in codes(one.rebound)
    wide, narrow = few.compression.secant_at(0.52), many.compression.secant_at(0.52)
    alone = one.rebound.secant_at(0.26)
    assert wide is not None
    assert narrow is not None
    assert alone is not None
    assert wide.high - wide.low > 1.5 * (narrow.high - narrow.low)
    assert alone.high >= 1.2 * alone.value


def test_a_side_that_was_not_swept_is_not_seen() -> None:
    full = sweep()
    push = full.velocity > 0
    answer = fit(SweepRecord(full.velocity[push], full.force[push]))

    assert answer.compression.seen
    assert not answer.rebound.seen
    assert codes(answer.rebound) == {"side-not-seen"}
    assert answer.rebound.secant == ()


def test_nothing_is_said_beyond_the_tested_speeds() -> None:
    answer = fit(sweep(np.array([0.1309, 0.2618, 0.51, 0.6])))

    assert [s.speed for s in answer.compression.secant] == [0.13, 0.26, 0.52]


def test_a_damper_that_pushes_along_is_refused() -> None:
    record = sweep()
    with pytest.raises(FitError, match="against the motion"):
        fit(SweepRecord(record.velocity, -record.force))


def test_a_force_that_falls_as_speed_grows_is_refused() -> None:
    """No damper does that; the forces stand beside the wrong speeds."""
    good = sweep()
    turned = np.concatenate((good.force[: SPEEDS.size], good.force[SPEEDS.size :][::-1]))

    with pytest.raises(FitError, match="rebound force must be no smaller at high speed"):
        fit(SweepRecord(good.velocity, turned))


def test_swapping_the_sides_negates_nothing_but_the_sides() -> None:
    record = sweep(noise=0.01)
    one, other = fit(record), fit(SweepRecord(-record.velocity, -record.force))

    for a, b in zip(one.compression.secant, other.rebound.secant, strict=True):
        assert math.isclose(a.c.value, b.c.value, rel_tol=1e-6)
        assert math.isclose(a.c.high, b.c.high, rel_tol=1e-6)


# --- hung weights ---


def weights(
    c: float = 1500.0,
    gas: float = 60.0,
    friction: float = 20.0,
    *,
    readings: bool = True,
    frame_rate: float | None = 240.0,
    moving: float = 0.0,
) -> WeightsRecord:
    mass = np.array([15.0, 25.0, 40.0, 60.0, 8.0, 20.0, 40.0, 60.0])
    direction = np.repeat([1.0, -1.0], 4)
    speed = ((mass + moving) * G - direction * gas - friction) / c
    push = np.array([1.0, 0.0, -1.0]) + gas + friction if readings else np.empty(0)
    back = np.array([0.0, 1.0, -1.0]) + gas - friction if readings else np.empty(0)
    return WeightsRecord(
        mass, np.full(8, 0.12), 0.12 / speed, direction, push, back, frame_rate=frame_rate, moving_mass=moving
    )


@pytest.mark.parametrize("moving", [0.0, 1.4])
def test_hung_weights_give_damping_gas_force_and_friction(moving: float) -> None:
    """Exact table of F = c v; scale readings 80 +- 1 and 40 +- 1 N give half sum 60 and half difference 20."""
    answer = fit(weights(moving=moving))

    assert answer.gas_force is not None
    assert answer.friction is not None
    assert abs(answer.gas_force.value - 60) < 1
    assert abs(answer.friction.value - 20) < 1
    for side in SIDES:
        assert answer.side(side).secant
        for secant in answer.side(side).secant:
            assert secant.c.contains(1500.0)
            assert abs(secant.c.value / 1500 - 1) < 0.01


def test_without_scale_readings_the_interval_grows_and_the_test_is_named() -> None:
    known, unknown = fit(weights()), fit(weights(readings=False))

    assert "gas-friction-unknown" in codes(unknown)
    assert unknown.friction is None
    for side in SIDES:
        for one, other in zip(known.side(side).secant, unknown.side(side).secant, strict=True):
            assert other.c.contains(1500.0)
            assert other.c.high - other.c.low > 1.3 * (one.c.high - one.c.low)


def test_a_hand_stopped_time_is_worth_less_than_a_camera() -> None:
    camera, hand = fit(weights()), fit(weights(frame_rate=None))
    fast = [f.rebound.secant_at(0.26) for f in (camera, hand)]

    assert fast[0] is not None
    assert fast[1] is not None
    assert fast[1].high - fast[1].low > 2 * (fast[0].high - fast[0].low)
    assert "coarse-time" in codes(hand)


def test_times_that_repeat_better_than_a_hand_stops_them_are_asked_for_their_camera() -> None:
    def repeated(spread: float) -> WeightsRecord:
        once = weights(frame_rate=None)
        late = np.concatenate([once.duration * 0.0, once.duration * 0.0 + spread])
        twice = {n: np.tile(getattr(once, n), 2) for n in ("mass", "distance", "duration", "direction")}
        twice["duration"] = twice["duration"] + late
        return replace(once, **twice)

    assert "times-filmed" in codes(fit(repeated(0.01)))
    assert "times-filmed" not in codes(fit(repeated(0.15)))
    assert "times-filmed" not in codes(fit(weights(frame_rate=None)))
    assert "times-filmed" not in codes(fit(replace(repeated(0.01), frame_rate=240.0)))


def test_a_weight_that_is_timed_too_early_is_named() -> None:
    """60 kg on 1500 N*s/m need 3 m/c = 0.12 s to settle; the table times it for 0.33 s."""
    assert "not-steady" in codes(fit(weights()))
    assert "not-steady" not in codes(fit(weights(c=30_000.0)))


def test_swapped_scale_readings_are_named() -> None:
    record = weights()
    swapped = WeightsRecord(
        record.mass,
        record.distance,
        record.duration,
        record.direction,
        record.return_force,
        record.push_force,
        frame_rate=240.0,
    )

    assert "friction-negative" in codes(fit(swapped))


def test_weights_that_do_not_overcome_the_gas_force_are_refused() -> None:
    record = WeightsRecord([5.0, 6.0], [0.1, 0.1], [2.0, 1.5], [1.0, 1.0], [90.0, 91.0], [70.0, 71.0])
    with pytest.raises(FitError, match="heavier than gas force and friction"):
        fit(record)
