"""Speed and force under each other's names, with numbers that are possible either way: refused, or the first doubt.

The sheets are computed here from force laws written out in the test; the fit has no part in them.
"""

from __future__ import annotations

import numpy as np
import pytest

from tuner.errors import ReadError
from tuner.jobs import Source, compare_job, fit_job
from tuner.reading import Reading, ReadOptions, read_bytes
from tuner.reading.bench.plausible import steep
from tuner.wording import fit_sections
from tuner.wording.layout import FIRST, ONWARD

SET = np.array([25.0, 50.0, 130.0, 260.0, 400.0, 520.0])  # mm/s, as people set a bench
SCATTER = np.array([0.3, -0.7, 1.1, -1.3, 0.4, -0.6])  # N


def forces(damping: float, gas: float = 0.0, power: float = 0.9) -> np.ndarray:
    """Measured to a tenth of a newton: damping [N at 100 mm/s]."""
    return np.round(damping * (SET / 100.0) ** power + gas + SCATTER, 1)


def sheet(speed: np.ndarray, compression: np.ndarray, rebound: np.ndarray) -> bytes:
    rows = zip(speed, compression, rebound, strict=True)
    lines = [f"{v};{c};{r}" for v, c, r in rows]
    return "\n".join(["Speed (mm/s);Compression (N);Rebound (N)", *lines]).encode()


def codes(reading: Reading) -> set[str]:
    return {note.code for note in reading.record.quality.notes}


def test_a_sheet_in_order_has_nothing_to_check():
    fair = sheet(SET, forces(150.0, 130.0), forces(300.0, -130.0))

    assert codes(read_bytes(fair, "fair.csv")) == set()


def test_swapped_columns_whose_law_no_oil_makes_are_refused():
    swapped = sheet(forces(150.0, 130.0), SET, forces(300.0, -130.0))

    with pytest.raises(ReadError, match="under each other") as refused:
        read_bytes(swapped, "swapped.csv")

    assert "correct the header" in refused.value.hint


def test_who_says_that_the_columns_are_right_is_believed_with_a_doubt():
    swapped = sheet(forces(150.0, 130.0), SET, forces(300.0, -130.0))
    options = ReadOptions(columns={"velocity": "Speed (mm/s)"})

    assert {"columns-swapped", "steep"} <= codes(read_bytes(swapped, "swapped.csv", options))


def test_swapped_columns_with_a_possible_law_are_the_first_doubt_of_the_answer():
    swapped = Source("swapped.csv", sheet(forces(150.0), SET, forces(300.0)))

    job = fit_job([swapped])
    page = {s.title: s.points for s in fit_sections(job.judgement, "metric", notes=job.notes)}

    assert "check that the two are not swapped" in page[FIRST][0]
    assert page[ONWARD][0].startswith("Do nothing yet to the machine")


def test_two_tests_with_the_same_forces_at_other_speeds_are_doubted():
    speeds = [np.round(SET / 9.0, 3) * scale for scale in (1.0, 1.3)]  # in/s that no rounding gives away
    before, after = (
        Source(f"{k}.csv", sheet(speed * 25.4, forces(150.0), forces(300.0)))
        for k, speed in enumerate(speeds)
    )

    found = {note.code for note in compare_job([before], [after]).notes}

    assert "same-forces" in found


def test_masses_and_times_under_each_other_are_doubted():
    masses, times = [10, 20, 30, 45, 60], [2.153, 0.654, 0.367, 0.184, 0.121]

    def table(first: list[float], second: list[float]) -> bytes:
        rows = [f"{a};60;{b};compression" for a, b in zip(first, second, strict=True)]
        return "\n".join(["mass (kg);distance (mm);time (s);direction", *rows]).encode()

    assert "columns-swapped" in codes(read_bytes(table(times, masses), "swapped.csv"))
    assert "columns-swapped" not in codes(read_bytes(table(masses, times), "fair.csv"))


@pytest.mark.parametrize("power", [0.4, 1.0, 1.5, 2.0])
@pytest.mark.parametrize("rest", [-150.0, 0.0, 250.0])
def test_no_law_of_oil_is_too_steep(power: float, rest: float):
    """Leak, orifice and anything between, whatever the load cell shows at rest."""
    speed = SET / 1000.0
    velocity = np.concatenate([speed, -speed])
    damping = 900.0 * (speed / speed[-1]) ** power + SCATTER

    assert steep(velocity, np.concatenate([damping + rest, -2.0 * damping + rest])) == ()


@pytest.mark.parametrize(
    "header",
    [
        "force (N, compression positive)",
        "force (N), positive in compression",
        "force [N] (compression = +)",
        "force, N (rebound negative)",
    ],
)
def test_a_column_that_says_its_sign_is_of_both_sides(header: str):
    rows = [f"{v};{f}" for v, f in zip(SET, forces(150.0), strict=True)]
    rows += [f"{-v};{-f}" for v, f in zip(SET, forces(300.0), strict=True)]

    record = read_bytes("\n".join([f"speed (mm/s);{header}", *rows]).encode(), "signed.csv").record

    assert record.velocity.tolist() == pytest.approx([*(SET / 1000.0), *(-SET / 1000.0)])
    assert record.force.tolist() == pytest.approx([*forces(150.0), *(-forces(300.0))])
