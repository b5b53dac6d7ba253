"""How sure a bounce of a whole machine may be: random half cars bounced by hand, fitted, judged and compared.

Run ``python -m tests.benchmarks.whole_table [--machines 200] [--first SEED] [--starts push lift both]
[--sensor acceleration travel] [--body yes no] [--maker own] [--workers 2] [--keep FOLDER] [--rows FILE]``.
Prints one line per group. `--keep` stores the made machines there, so that the next run only fits; `--rows` writes a
row per side.

The truth of a side is its secant ratio at the speed that the answer names (`named_speed`). Machines: see
`whole_machines.py`.
"""

from __future__ import annotations

import argparse
import csv
import inspect
import pickle
import sys
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict, dataclass, fields
from multiprocessing import Pool
from pathlib import Path

import numpy as np

from tests.benchmarks import whole_machines
from tests.benchmarks.whole_machines import JUDGED, STARTS, Case, Start
from tuner.errors import FitError
from tuner.estimates import Estimate
from tuner.fitting.bounce import fit_bounce
from tuner.fitting.results import DampingFit, SideFit
from tuner.judging import judge
from tuner.machine import Machine
from tuner.records import SIDES, BounceRecord

NARROW = 0.08  # half width of an interval that is of use
SPEEDS = (0.05, 0.10, 0.16, 0.26)  # at which the truth is written beside each answer [m/s at the shaft]
BETWEEN = np.linspace(0.05, 0.30, 26)
FAR = 1.25
LANES = 300  # machines that are made at once


def fitted(record: BounceRecord, machine: Machine) -> DampingFit:
    """Fit as the program does: with the whole machine where the fit takes one, else with the rear corner."""
    if "machine" in inspect.signature(fit_bounce).parameters:
        return fit_bounce([record], machine.corner("rear"), machine=machine)  # type: ignore[call-arg]
    return fit_bounce([record], machine.corner("rear"))


def named_speed(side: SideFit) -> float:
    """Shaft speed [m/s] that the answer is about: the one it names, else 0.7 of the highest it saw."""
    named = getattr(side, "zeta_speed", None)
    if named is not None:
        return float(named)
    return JUDGED if side.speed_range is None else 0.7 * side.speed_range[1]


@dataclass(frozen=True)
class Row:
    """One side of one record: where it comes from, the truth, the answer (nan: not given), its place."""

    seed: int
    start: str
    sensor: str
    body: str
    side: str
    first: bool
    maker: str
    sharp: bool
    friction: float
    creep: float
    wind: float
    hard: bool
    bounces: int
    lightest: float
    truth: float
    speed: float
    truth_005: float
    truth_010: float
    truth_016: float
    truth_026: float
    peak: float
    value: float
    low: float
    high: float
    place: str
    probability: float
    truly: str
    truly_at_target: str
    bad: bool
    held: float
    notes: str
    seconds: float

    @property
    def given(self) -> bool:
        return bool(np.isfinite(self.value))

    @property
    def holds(self) -> bool:
        return self.low <= self.truth <= self.high

    @property
    def narrow(self) -> bool:
        return 0.5 * (self.high - self.low) < NARROW


def where(zeta: float, band: tuple[float, float]) -> str:
    return "below" if zeta < band[0] else "above" if zeta > band[1] else "inside"


def rows_of(one: Case, sensor: str, *, body: bool) -> list[Row]:
    """Fit one record and judge it; a record that is refused gives no side."""
    machine = one.machine(body=body)
    begin = time.perf_counter()
    try:
        fit = fitted(one.record(sensor), machine)
        judgement = judge(fit, machine.corner("rear"), machine.target)
        refused = ""
    except FitError as error:
        fit, judgement, refused = None, None, f"refused: {error}"
    seconds = time.perf_counter() - begin
    rear = one.car.rear
    rows = []
    for side in SIDES:
        answer = SideFit(side, seen=False) if fit is None else fit.side(side)
        zeta: Estimate | None = answer.zeta
        speed = named_speed(answer)
        truth = rear.zeta(side, speed)
        numbers = (np.nan,) * 3 if zeta is None else (zeta.value, zeta.low, zeta.high)
        band = machine.target.compression if side == "compression" else machine.target.rebound
        judged = None if judgement is None else judgement.side(side)
        near = [rear.zeta(side, float(v)) for v in BETWEEN]
        bad = zeta is not None and (zeta.low > FAR * max(near) or zeta.high * FAR < min(near))
        codes = [note.code for note in (*answer.notes, *(() if fit is None else fit.notes))]
        friction = None if fit is None else fit.friction
        rows.append(
            Row(
                one.seed,
                one.start,
                sensor,
                "yes" if body else "no",
                side,
                one.first(side),
                rear.friction.maker,
                rear.friction.sharp,
                rear.friction.force,
                rear.friction.creep,
                rear.friction.wind,
                0.6 <= rear.zeta("rebound", JUDGED) <= 0.85 and 15.0 <= rear.friction.force <= 35.0,
                len(one.kinds),
                one.lightest,
                truth,
                speed,
                *(rear.zeta(side, v) for v in SPEEDS),
                np.nan if answer.speed_range is None else answer.speed_range[1],
                *numbers,
                "unknown" if judged is None or zeta is None else judged.place,
                np.nan if judged is None or judged.probability is None else judged.probability,
                where(truth, band),
                where(rear.zeta(side, machine.target.speed), band),
                bad,
                np.nan if friction is None else friction.value,
                refused or " ".join(dict.fromkeys(codes)),
                seconds,
            )
        )
    return rows


def cases(wanted: Sequence[tuple[int, Start]], maker: str) -> list[Case]:
    """Make the cases, with the own integrator or in the rigid-body engine."""
    if maker == "own":
        return whole_machines.cases(wanted)
    from tests.benchmarks import whole_mujoco

    return whole_mujoco.cases(wanted)


def made(wanted: Sequence[tuple[int, Start]], maker: str = "own", keep: Path | None = None) -> list[Case]:
    """Make the cases, or read those that were kept."""
    if keep is None:
        return cases(wanted, maker)
    keep.mkdir(parents=True, exist_ok=True)
    name = "{}_{}.pickle" if maker == "own" else "engine_{}_{}.pickle"
    paths = [keep / name.format(seed, start) for seed, start in wanted]
    missing = [one for one, path in zip(wanted, paths, strict=True) if not path.is_file()]
    for one in cases(missing, maker) if missing else []:
        with (keep / name.format(one.seed, one.start)).open("wb") as file:
            pickle.dump(one, file)
    return [pickle.loads(path.read_bytes()) for path in paths]


def _made(job: tuple[list[tuple[int, Start]], str, Path | None]) -> list[Case]:
    return made(*job)


def _rows(job: tuple[Case, str, bool]) -> list[Row]:
    one, sensor, body = job
    return rows_of(one, sensor, body=body)


def share(flags: Iterable[bool]) -> str:
    known = list(flags)
    return f"{100.0 * np.mean(known):8.1f} %" if known else "       -  "


def figures(name: str, rows: Sequence[Row]) -> str:
    """One line of the table."""
    given = [row for row in rows if row.given]
    first = [row for row in rows if row.first]
    called = [row for row in given if row.place in ("below", "above")]
    numbers = [
        share(row.given for row in rows),
        share(row.holds for row in given),
        share(row.holds for row in given if row.first),
        share(row.holds for row in given if not row.first),
        f"{sum(row.bad for row in given):5d}",
        f"{len(called):7d}",
        share(row.place != row.truly for row in called),
        share(row.place != row.truly_at_target for row in called),
        share(row.narrow for row in first if row.given),
        share(not row.given for row in first),
        f"{np.median([row.seconds for row in rows]):6.2f}" if rows else "",
    ]
    return f"{name:<46}{len(rows):>6}" + "".join(numbers)


HEAD = (
    f"{'':<46}{'sides':>6}{'given':>10}{'95 % hold':>10}{'1st hold':>10}{'2nd hold':>10}{'bad':>5}{'called':>7}"
    f"{'wrong':>10}{'at 0.26':>10}{'1st<.08':>10}{'1st with':>10}{'s':>6}"
)
LEGEND = (
    "hold: the 95 % interval holds the true secant ratio at the speed the answer names; 1st, 2nd: sides that some",
    "bounce of the record starts with, and those that none does; bad: it misses every true secant from 0.05 to 0.30",
    "m/s by more than a quarter; called: below or above the target; wrong: of those, the truth at the named speed is",
    "elsewhere; at 0.26: the truth at the target's speed is elsewhere; 1st<.08: first sides narrower than +-0.08; 1st",
    "with: first sides withheld; s: median seconds of a fit and its judgement.",
)


def table(rows: Sequence[Row]) -> str:
    """All groups that have sides."""
    lines = [HEAD]

    def add(name: str, test: Callable[[Row], bool]) -> None:
        chosen = [row for row in rows if test(row)]
        if chosen:
            lines.append(figures(name, chosen))

    def unique(name: str) -> list[object]:
        return list(dict.fromkeys(getattr(row, name) for row in rows))

    for sensor in unique("sensor"):
        for body in unique("body"):
            here = f"{sensor}, body {'known' if body == 'yes' else 'not given'}"
            group = [("sensor", sensor), ("body", body)]

            def inside(row: Row, wanted: list[tuple[str, object]] = group) -> bool:
                return all(getattr(row, key) == value for key, value in wanted)

            add(here, inside)
            for start in unique("start"):
                add(f"   starts: {start}", lambda r, s=start, i=inside: i(r) and r.start == s)
                add(
                    "      rebound 0.6-0.85, friction 15-35 N",
                    lambda r, s=start, i=inside: i(r) and r.start == s and r.hard,
                )
            add("   rebound 0.6-0.85, friction 15-35 N", lambda r, i=inside: i(r) and r.hard)
            for side in SIDES:
                add(f"   {side}", lambda r, s=side, i=inside: i(r) and r.side == s)
            for maker in unique("maker"):
                add(f"   friction {maker}", lambda r, m=maker, i=inside: i(r) and r.maker == m)
    return "\n".join([*lines, "", *LEGEND])


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--machines", type=int, default=200)
    parser.add_argument("--first", type=int, default=5000, help="the first machine's seed")
    parser.add_argument(
        "--maker",
        choices=("own", "engine"),
        default="own",
        help="engine: a rigid-body engine, as a second maker",
    )
    parser.add_argument("--starts", nargs="+", choices=STARTS, default=list(STARTS))
    parser.add_argument(
        "--sensor", nargs="+", choices=("acceleration", "travel"), default=["acceleration", "travel"]
    )
    parser.add_argument("--body", nargs="+", choices=("yes", "no"), default=["yes", "no"])
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--keep", type=Path, help="folder for the made machines")
    parser.add_argument("--rows", type=Path, help="file for one row per side, comma separated")
    chosen = parser.parse_args()
    seeds = range(chosen.first, chosen.first + chosen.machines)
    wanted: list[tuple[int, Start]] = [(seed, start) for seed in seeds for start in chosen.starts]
    lanes = min(LANES, -(-len(wanted) // chosen.workers))
    batches = [wanted[at : at + lanes] for at in range(0, len(wanted), lanes)]
    rows: list[Row] = []
    begin = time.perf_counter()
    with Pool(chosen.workers) as pool:
        making = pool.imap(_made, [(batch, chosen.maker, chosen.keep) for batch in batches])
        every = [one for batch in making for one in batch]
        print(f"made in {time.perf_counter() - begin:.0f} s", file=sys.stderr)
        jobs = [
            (one, sensor, body == "yes") for sensor in chosen.sensor for body in chosen.body for one in every
        ]
        for done, some in enumerate(pool.imap(_rows, jobs), 1):
            rows += some
            if sys.stderr.isatty():
                print(f"\r{done} of {len(jobs)}", end="", file=sys.stderr)
    if chosen.rows is not None:
        with chosen.rows.open("w", newline="", encoding="utf-8") as file:
            writer = csv.DictWriter(file, [one.name for one in fields(Row)])
            writer.writeheader()
            writer.writerows(asdict(row) for row in rows)
    print(table(rows))


if __name__ == "__main__":
    main()
