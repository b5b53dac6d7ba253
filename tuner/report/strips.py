"""A strip under each verdict: the target band, and where the damping ratio stood before and after.

Takes judged sides; gives a drawing as SVG that needs no script.
"""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from tuner.judging import JudgedSide
from tuner.wording.figures import band_text, zeta_text

WIDTH, RIGHT = 340.0, 6.0
LEFT, WIDE, LONGEST = (
    60.0,
    8.2,
    18,
)  # room for names left of the scale: the least, a character, the most characters
BASE, ROW, FIRST = 66.0, 24.0, 20.0


def strip(runs: Sequence[tuple[str, JudgedSide]]) -> Markup | None:
    """Draw the ratios of up to two runs, at the speed of the band, against it; None without any ratio."""
    shown = [(i, label, s.at_band) for i, (label, s) in enumerate(runs) if s.at_band is not None]
    if not shown:
        return None
    band = next((side.band for _, side in runs if side.band is not None), None)
    largest = max([z.value for *_, z in shown] + ([band[1]] if band else []))
    top = max([min(z.high, 1.4 * largest) for *_, z in shown] + ([band[1]] if band else [])) * 1.12

    named = [_short(label) for _, label, _ in shown]  # the numbers stand under the strip, with their ±
    left = max(LEFT, WIDE * max(map(len, named)) + 10.0)

    def at(zeta: float) -> float:
        return left + (WIDTH - left - RIGHT) * min(max(zeta, 0.0), top) / top

    parts = [] if band is None else [_band(band, at(band[0]), at(band[1]), left)]
    parts.append(
        Markup('<line class="base" x1="{}" x2="{}" y1="{}" y2="{}"/><text x="{}" y="{}">0</text>').format(
            left, WIDTH - RIGHT, BASE, BASE, left, BASE + 14
        )
    )
    for row, (i, _, zeta) in enumerate(shown):
        y = FIRST + ROW * row if len(shown) > 1 else FIRST + 0.5 * ROW
        parts.append(
            _mark(1 if len(runs) == 1 else i, y, at(zeta.low), at(zeta.value), at(zeta.high))
            + _name(named[row], left, y)
        )
    words = "; ".join(f"{label} {zeta_text(zeta)}" for _, label, zeta in shown)
    target = f"; target {band_text(band)}" if band is not None else ""
    return Markup('<svg class="strip" viewBox="0 0 {} {}" role="img" aria-label="{}">{}</svg>').format(
        int(WIDTH), int(BASE + 18), f"Damping ratio: {words}{target}", Markup("").join(parts)
    )


def _short(label: str) -> str:
    return label if len(label) <= LONGEST else f"{label[: LONGEST - 1]}…"


def _band(band: tuple[float, float], start: float, end: float, left: float) -> Markup:
    middle = min(max(0.5 * (start + end), left + 76.0), WIDTH - 66.0)
    return Markup(
        '<rect class="band" x="{:.1f}" y="4" width="{:.1f}" height="{:.1f}"/>'
        '<text class="edge" x="{:.1f}" y="{}" text-anchor="middle">target {}</text>'
    ).format(start, end - start, BASE - 4.0, middle, BASE + 14, band_text(band))


def _name(text: str, left: float, y: float) -> Markup:
    return Markup('<text x="{:.1f}" y="{:.1f}" text-anchor="end">{}</text>').format(left - 10.0, y + 4, text)


def _mark(position: int, y: float, low: float, middle: float, high: float) -> Markup:
    run, dashed = f"run{position % 2}", "" if position % 2 else " dashed"
    shape = (
        f"M{middle - 6:.1f} {y:.1f}l6 -6l6 6l-6 6z"
        if position % 2
        else f"M{middle - 5:.1f} {y:.1f}a5 5 0 1 0 10 0a5 5 0 1 0 -10 0z"
    )
    return Markup(
        '<line class="{}{}" stroke-width="2" x1="{:.1f}" x2="{:.1f}" y1="{:.1f}" y2="{:.1f}"/>'
        '<path class="{}" stroke-width="2" d="{}"/>'
    ).format(run, dashed, low, high, y, y, run, shape)
