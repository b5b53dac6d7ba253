"""How well a bounce tells the damping: random corners, bounced by an independent integrator, fitted and compared.

Run ``python tests/benchmarks/bounce_table.py [--corners 300] [--first 1000] [--sensor acceleration travel]
[--creep 0.004]``.
Prints one table per sensor, with the one-mass fit beside it for the acceleration.

Corners: sprung 40-200 kg, 1.2-3 Hz, ratios 0.08-0.9 unequal, tyre 3-10 times the wheel rate known to +-15 %, unsprung
15-40 % of the sprung mass known to +-6 %, friction 0-60 N, 100-400 Hz, noise 0.05-0.3 m/s^2 (travel 0.2-1 mm), pushed
and let go or lifted and dropped, one to four times; hands come off within 10 to 40 ms.
"""

from __future__ import annotations

import argparse
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from bounce_corners import Case, case
from one_mass import fit_one_mass

from tuner.errors import FitError
from tuner.fitting.bounce import fit_bounce
from tuner.records import SIDES
from tuner.signals.bounces import find_bounces

SURE = 0.05  # half width below which an interval claims to be sure
NEAR = 0.03


@dataclass(frozen=True)
class Row:
    """One side of one corner: truth, value and interval (nan: not seen), first = the side tested first."""

    truth: float
    value: float
    low: float
    high: float
    first: bool
    seconds: float

    @property
    def sure(self) -> bool:
        return 0.5 * (self.high - self.low) < SURE

    @property
    def error(self) -> float:
        return abs(self.value - self.truth)


def two_mass_rows(one: Case, sensor: str) -> list[Row]:
    """Fit with the program; sides that were not seen carry nan."""
    record = one.record(sensor)
    begin = time.perf_counter()
    try:
        fit = fit_bounce([record], one.corner)
    except FitError:
        fit = None
    seconds = time.perf_counter() - begin
    rows = []
    for side in SIDES:
        c = one.truth.c_compression if side == "compression" else one.truth.c_rebound
        zeta = None if fit is None else fit.side(side).zeta
        numbers = (np.nan,) * 3 if zeta is None else (zeta.value, zeta.low, zeta.high)
        first = (side == "rebound") == (one.start == "push")
        rows.append(Row(c / one.truth.critical, *numbers, first, seconds))
    return rows


def one_mass_rows(one: Case) -> list[Row]:
    """Fit without the tyre, the same ring-downs (two at most)."""
    record = one.record("acceleration")
    used = find_bounces(record.time, record.signal, "acceleration").used[:2]
    pieces = []
    for bounce in used:
        part = slice(bounce.first, bounce.last)
        pieces.append((record.time[part] - record.time[bounce.first], record.signal[part]))
    begin = time.perf_counter()
    fit = fit_one_mass(pieces, one.truth.frequency)
    seconds = time.perf_counter() - begin
    rows = []
    for side, value, sd in (
        ("compression", fit.compression, fit.compression_sd),
        ("rebound", fit.rebound, fit.rebound_sd),
    ):
        c = one.truth.c_compression if side == "compression" else one.truth.c_rebound
        first = (side == "rebound") == (one.start == "push")
        low, high = value - 1.96 * sd, value + 1.96 * sd
        rows.append(Row(c / one.truth.critical, value, low, high, first, seconds))
    return rows


def share(flags: list[bool]) -> str:
    return f"{100.0 * np.mean(flags):5.1f} %" if flags else "    -  "


def figures(name: str, rows: list[Row]) -> str:
    """One line of the table."""
    seen = [row for row in rows if np.isfinite(row.value)]
    sure = [row for row in seen if row.sure]
    within = [row.low <= row.truth <= row.high for row in seen]
    far = sum(row.error > 2 * SURE for row in sure)
    return (
        f"{name:<34}{len(rows):>6}{len(rows) - len(seen):>10}{len(sure):>7}"
        f"{share([row.error < NEAR for row in sure]):>12}{share(within):>11}"
        f"{share([row.low <= row.truth <= row.high for row in sure]):>11}{far:>6}"
        f"{np.median([row.seconds for row in rows]):>8.2f}"
    )


HEAD = (
    f"{'':<34}{'sides':>6}{'not seen':>10}{'sure':>7}{'sure < .03':>12}{'95 % hold':>11}{'sure hold':>11}{'far':>6}"
    f"{'s':>8}"
)


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--corners", type=int, default=300)
    parser.add_argument("--first", type=int, default=1000)
    parser.add_argument("--sensor", nargs="+", default=["acceleration", "travel"])
    parser.add_argument("--without-one-mass", action="store_true")
    parser.add_argument(
        "--creep", type=float, help="speed [m/s] below which friction creeps instead of sticking"
    )
    chosen = parser.parse_args()
    results: dict[str, list[Row]] = {sensor: [] for sensor in chosen.sensor}
    plain: list[Row] = []
    for seed in range(chosen.first, chosen.first + chosen.corners):
        one = case(seed, chosen.creep)
        for sensor in chosen.sensor:
            results[sensor] += two_mass_rows(one, sensor)
        if not chosen.without_one_mass:
            plain += one_mass_rows(one)
        if sys.stderr.isatty():
            print(f"\r{seed - chosen.first + 1} of {chosen.corners}", end="", file=sys.stderr)
    print(HEAD)
    for sensor, rows in results.items():
        print(figures(f"two masses, {sensor}", rows))
        print(figures("   side tested first", [row for row in rows if row.first]))
        print(figures("   side tested second", [row for row in rows if not row.first]))
    if plain:
        print(figures("one mass, acceleration", plain))
    print(
        "\nsure: half width of the interval below 0.05; far: sure, but wrong by more than 0.1; hold: it holds the truth"
    )


if __name__ == "__main__":
    main()
