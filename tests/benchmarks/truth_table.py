"""Print how well known truths are recovered: `python -m tests.benchmarks.truth_table [--dampers 200] [--seed 1]`.

Takes a number of dampers; prints one row per promise with counts, share and its 95 % uncertainty. Quantities of one
damper are not independent, so the uncertainty of a share comes from the scatter between dampers.
"""

from __future__ import annotations

import argparse
import math
import sys
import time
from collections import defaultdict
from collections.abc import Callable, Sequence

from tests.benchmarks.known_truths import SPEEDS, Recovered, Recovery, recover

TRUTHS = (
    "the truth: secant = static force of the independent model over speed, as mounted, gas and friction off, in the",
    "middle of the test's fade; knee = speed at which the bleed alone carries the shims' preload, asked where the open",
    "shims add at least 0.7 of the bleed's slope; dead stroke = volume of the void over the piston area, asked from",
    "2 mm. A pair is called a change when one of its sides is; every record of a pair has its own mounting (1.5 % per",
    "side).",
)


def share_of(hits: Sequence[bool], dampers: Sequence[int]) -> tuple[int, int, float, float, float]:
    """Give hits, count, share and its 95 % bounds, clustered by damper (Wilson bounds at the effective count)."""
    from statsmodels.stats.proportion import proportion_confint

    n, k = len(hits), sum(hits)
    if n == 0:
        return 0, 0, math.nan, math.nan, math.nan
    p = k / n
    groups: dict[int, list[float]] = defaultdict(list)
    for hit, damper in zip(hits, dampers, strict=True):
        groups[damper].append(hit - p)
    m = len(groups)
    variance = sum(sum(g) ** 2 for g in groups.values()) / n**2 * m / max(m - 1, 1)
    effective = min(float(n), p * (1 - p) / variance) if variance > 0 else float(m)
    low, high = proportion_confint(p * effective, effective, method="wilson")
    return k, n, p, float(low), float(high)


def row(name: str, target: str, hits: Sequence[bool], dampers: Sequence[int]) -> str:
    """Give one line of the table."""
    k, n, p, low, high = share_of(hits, dampers)
    if n == 0:
        return f"{name:58s}       not asked"
    return (
        f"{name:58s} {k:5d} of {n:5d}  {100 * p:6.1f} %  ({100 * low:5.1f} to {100 * high:5.1f})   {target}"
    )


def _rows(items: Sequence[Recovered], name: str, target: str, test: Callable[[Recovered], bool]) -> str:
    return row(name, target, [test(r) for r in items], [r.damper for r in items])


def _near(item: Recovered) -> bool:
    return abs(item.error) <= 0.10 or item.covered


def table(found: Recovery) -> str:
    """Give the whole table as text."""
    pairs = list(range(found.dampers))
    lines = [
        f"known truths over {found.dampers} random dampers, cycles at 0.005-0.010, 0.05 and the four test speeds"
    ]
    lines += ["", f"{'promise':58s} {'count':>14s}  {'share':>8s}   (95 % bounds)     wanted"]
    secants = found.secants
    lines.append(_rows(secants, "secants within 2 %", ">= 95 %", lambda r: abs(r.error) <= 0.02))
    lines.append(_rows(secants, "95 % intervals that hold the secant", "93-97 %", lambda r: r.covered))
    lines.append(_rows(found.knees, "knee within 10 % or in its interval", "all", _near))
    lines.append(
        _rows(found.dead_strokes, "dead stroke >= 2 mm within 10 % or in its interval", "all", _near)
    )
    lines.append(row("null pairs called a change", "<= 5 %", found.null_called, pairs))
    lines.append(row("25 % changes called", ">= 95 %", found.change_called, pairs))
    lines.append(row("25 % changes called in the wrong direction", "0", found.wrong_direction, pairs))
    lines += ["", "more about it"]
    for speed in SPEEDS:
        for side in ("compression", "rebound"):
            some = [r for r in secants if r.speed == speed and r.side == side]
            name = f"{side} secant at {speed:g} m/s"
            lines.append(_rows(some, f"{name} within 2 %", "", lambda r: abs(r.error) <= 0.02))
            lines.append(_rows(some, f"{name} in its interval", "", lambda r: r.covered))
    whole, empty = [r for r in secants if not r.void], [r for r in secants if r.void]
    for some, words in ((whole, "sides without dead stroke"), (empty, "sides with a dead stroke")):
        lines.append(_rows(some, f"secants within 2 %, {words}", "", lambda r: abs(r.error) <= 0.02))
        lines.append(_rows(some, f"intervals that hold it, {words}", "", lambda r: r.covered))
    lines.append(_rows(secants, "secants not given at all", "", lambda r: r.value is None))
    lines.append(_rows(found.knees, "knee given by the chosen law", "", lambda r: r.value is not None))
    lines.append(_rows(found.knees, "knee within 10 %", "", lambda r: abs(r.error) <= 0.10))
    lines.append(_rows(found.knees, "knee in its interval", "", lambda r: r.covered))
    lines.append(_rows(found.dead_strokes, "dead stroke within 10 %", "", lambda r: abs(r.error) <= 0.10))
    lines.append(_rows(found.dead_strokes, "dead stroke in its interval", "", lambda r: r.covered))
    lines.append(
        _rows(
            found.no_dead_strokes,
            "dead stroke seen where there is none (low end > 0.5 mm)",
            "",
            lambda r: r.low is not None and r.low > 0.0005,
        )
    )
    lines.append(
        row(
            "null pairs, sides called a change",
            "",
            found.null_sides_called,
            [p // 2 for p in range(2 * found.dampers)],
        )
    )
    lines.append(row("25 % changes: the other side called as well", "", found.other_side_called, pairs))
    return "\n".join([*lines, "", *TRUTHS])


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description="How well known truths are recovered.")
    parser.add_argument("--dampers", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--no-pairs", action="store_true", help="leave the null and the changed pairs out")
    options = parser.parse_args()
    start = time.monotonic()

    def progress(done: int) -> None:
        if sys.stderr.isatty() or done % 50 == 0:
            print(f"{done} of {options.dampers} dampers, {time.monotonic() - start:.0f} s", file=sys.stderr)

    found = recover(options.dampers, options.seed, progress, pairs=not options.no_pairs)
    print(table(found))


if __name__ == "__main__":
    main()
