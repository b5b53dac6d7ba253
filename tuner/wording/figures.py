"""Numbers as people read them: the interval picks the digits, the unit follows metric or US.

Takes estimates and SI numbers; gives text.
"""

from __future__ import annotations

import math
import re

from tuner.estimates import Estimate
from tuner.units import SHOWN, System, from_si, to_si

UNKNOWN = "-"  # in a table: not known; a note says why
NOT_ENOUGH = "not enough"  # in a table: so open that nothing is known; a note says what is missing

# SI unit of an estimate -> kind of quantity, for the units that are shown differently in metric and US
_KIND_OF_UNIT = {
    "m": "length",
    "m/s": "speed",
    "N": "force",
    "kg": "mass",
    "s": "time",
    "Hz": "frequency",
    "N/m": "stiffness",
    "N*s/m": "damping",
    "J": "energy",
    "K": "temperature",
    "Pa": "pressure",
    "m/s**2": "acceleration",
    "rad": "angle",
    "rad/s": "angular rate",
    "1": "ratio",
}


def _places(half: float) -> int:
    """Digits after the point so that a half width keeps two figures when it starts with 1, else one."""
    exponent = math.floor(math.log10(half))
    leading = half / 10.0**exponent
    return (1 if leading < 1.95 else 0) - exponent


def _rounded(value: float, places: int) -> str:
    rounded = round(value, places)
    if rounded == 0.0:
        rounded = 0.0  # no "-0"
    return f"{rounded:.{max(places, 0)}f}"


def _scaled(estimate: Estimate, kind: str, system: System) -> tuple[float, float, float, str, int]:
    style = SHOWN[system][kind]
    value, low, high = (
        float(from_si(x, kind, style.unit)) if math.isfinite(x) else x
        for x in (estimate.value, estimate.low, estimate.high)
    )
    return value, low, high, style.label, style.digits


def kind_of(estimate: Estimate) -> str | None:
    """Give the kind of quantity behind an estimate's SI unit, None where its unit is shown as it is."""
    return _KIND_OF_UNIT.get(estimate.unit)


def bare(estimate: Estimate | None, kind: str, system: System) -> str:
    """Write an estimate for a table, without its unit: ``1520 ± 40``, ``6.2 (5.1 to 7.4)`` or ``-``.

    The form with ``±`` is used where both halves of the 95 % interval are alike within a fifth.
    """
    if estimate is None:
        return UNKNOWN
    value, low, high, _, digits = _scaled(estimate, kind, system)
    return _with_interval(value, low, high, digits)


def damping_bare(c: Estimate | None, system: System) -> str:
    """Write a damping for a table, no number where nothing is known of it."""
    return bare(c, "damping", system) if c is None or c.tells else NOT_ENOUGH


def untold(ratio: Estimate) -> bool:
    """Say whether nothing is known of a change: it may be none, and is open by more than `TELLS` end to end."""
    return ratio.contains(1.0) and not ratio.tells


def label_of(kind: str, system: System) -> str:
    """Give the unit people of `system` read for that kind."""
    return SHOWN[system][kind].label


def _with_interval(value: float, low: float, high: float, digits: int) -> str:
    down, up = value - low, high - value
    if down <= 0 and up <= 0:
        return _rounded(value, digits)
    if not (math.isfinite(down) and math.isfinite(up)):
        return f"{_rounded(value, digits)} ({_bounds(low, high, digits)})"
    places = _places(max(down, up))
    if max(down, up) <= 1.2 * min(down, up):
        half = 0.5 * (down + up)
        return f"{_rounded(value, places)} ± {_rounded(half, places)}"
    return f"{_rounded(value, places)} ({_rounded(low, places)} to {_rounded(high, places)})"


def _bounds(low: float, high: float, digits: int) -> str:
    if math.isfinite(low):
        return f"at least {_rounded(low, digits)}"
    if math.isfinite(high):
        return f"at most {_rounded(high, digits)}"
    return "no bound"


def amount(estimate: Estimate, kind: str | None = None, *, system: System) -> str:
    """Write an estimate with its unit for a sentence: ``1520 ± 40 N·s/m``."""
    kind = kind_of(estimate) if kind is None else kind
    if kind is None:
        text = _with_interval(estimate.value, estimate.low, estimate.high, 3)
        unit = estimate.unit.replace("**2", "²").replace("**3", "³").replace("*", "·")
        return f"{text} {unit}"
    return f"{bare(estimate, kind, system)} {label_of(kind, system)}".rstrip()


def upper_bound(estimate: Estimate, kind: str, system: System) -> str:
    """Write the finite upper bound of an estimate with its unit, rounded up: what is at most 0.12 mm is at most 0.2."""
    _, _, high, label, digits = _scaled(estimate, kind, system)
    step = 10.0**-digits
    return f"{_rounded(math.ceil(high / step - 1e-9) * step, digits)} {label}".rstrip()


def speed_text(speed: float, system: System) -> str:
    """Write a speed [m/s] with its unit: ``0.26 m/s`` or ``10.2 in/s``."""
    return f"{speed_bare(speed, system)} {label_of('speed', system)}"


def speed_bare(speed: float, system: System) -> str:
    """Write a speed [m/s] without its unit, three figures at most."""
    return f"{float(from_si(speed, 'speed', SHOWN[system]['speed'].unit)):.3g}"


def chance_text(probability: float) -> str:
    """Write a probability, never as a bare 100 %: ``98 %``."""
    return "over 99 %" if probability >= 0.995 else f"{100 * probability:.0f} %"


def probability_text(probability: float) -> str:
    """Write a probability for a sentence: ``98 % sure``."""
    return f"{chance_text(probability)} sure"


def share_text(share: float) -> str:
    """Write a share as per cent: 0.1 -> ``10 %``."""
    return f"{100 * share:.3g} %"


def share_bare(share: float) -> str:
    """Write a share as per cent for a table, two figures: 0.0312 -> ``3.1``; ``-`` where nothing bounds it."""
    return f"{100 * share:.2g}" if math.isfinite(share) else UNKNOWN


def _percents(ratio: Estimate) -> tuple[float, float, float, int]:
    value, low, high = (100.0 * (x - 1.0) for x in (ratio.value, ratio.low, ratio.high))
    half = min(value - low, high - value)
    places = 1 if math.isfinite(half) and 0 < half < 0.95 else 0
    return value, low, high, places


def _times(ratio: Estimate) -> bool:
    """Say whether a ratio reads better as 'times as much' than as per cent."""
    return ratio.value >= 2.0


def more_or_less(ratio: Estimate) -> str:
    """Write a clear ratio with its interval as a comparison: ``34 % less (28 to 39 % less)``.

    Above a doubling ``2.6 times as much (2.1 to 3.3 times)``. The interval may reach across 1.
    """
    if _times(ratio):
        if math.isfinite(ratio.high):
            interval = f"{ratio.low:.2g} to {ratio.high:.2g} times"
        else:
            interval = f"at least {ratio.low:.2g} times" if ratio.low > 0 else "anything is possible"
        return f"{ratio.value:.2g} times as much ({interval})"
    value, low, high_percent, places = _percents(ratio)
    word = "less" if value < 0 else "more"
    near, far = sorted((abs(low), abs(high_percent)))
    if not math.isfinite(high_percent):
        if low <= -99.9:
            interval = "anything is possible"
        else:
            least = _side_word(low, places)
            interval = f"at least {least}" if low >= 0 else f"{least} or anything above"
    elif low < 0 < high_percent:
        interval = f"{_side_word(low, places)} to {_side_word(high_percent, places)}"
    else:
        interval = f"{near:.{places}f} to {far:.{places}f} % {word}"
    return f"{abs(value):.{places}f} % {word} ({interval})"


def _shares_of_stronger(ratio: Estimate) -> tuple[float, float, float]:
    """Give a ratio and its interval as per cent of the stronger: - where the second of the two is the weaker."""
    value, low, high = (
        100.0 * ((1.0 - 1.0 / r) if r > 1.0 else (r - 1.0)) for r in (ratio.value, ratio.low, ratio.high)
    )
    return value, low, high


def less_of_stronger(ratio: Estimate) -> str:
    """Write how much less the weaker of two has than the stronger: ``18 % less (14 to 22 % less)``."""
    value, *ends = _shares_of_stronger(ratio)
    near, far = sorted(ends if value < 0 else (-end for end in ends), reverse=True)
    places = 1 if 0 < min(abs(near + abs(value)), abs(far + abs(value))) < 0.95 else 0
    if near > 0:
        interval = f"{-far:.{places}f} % less to {near:.{places}f} % the other way round"
    else:
        interval = f"{-near:.{places}f} to {-far:.{places}f} % less"
    return f"{abs(value):.{places}f} % less ({interval})"


def signed_of_stronger(ratio: Estimate) -> str:
    """Write a ratio of two dampers for a table, in per cent of the stronger: ``-18 % (-22 to -14)``."""
    if untold(ratio):
        return NOT_ENOUGH
    value, low, high = _shares_of_stronger(ratio)
    half = min(value - low, high - value)
    places = 1 if 0 < half < 0.95 else 0
    return f"{_signed(value, places)} % ({_signed(low, places)} to {high:+.{places}f})"


def factor_text(factor: float) -> str:
    """Write a factor on the damping: ``35 % more``, ``12 % less``, ``2.6 times as much``."""
    return f"{factor:.2g} times as much" if factor >= 2.0 else _side_word(100.0 * (factor - 1.0), 0)


def factors_text(least: float, most: float) -> str:
    """Write a range of factors on the damping: ``7 to 78 % more``, ``2.1 to 3 times as much``."""
    if least >= 2.0:
        return f"{least:.2g} to {most:.2g} times as much"
    low, high = 100.0 * (least - 1.0), 100.0 * (most - 1.0)
    if most < 2.0 and low * high > 0:
        near, far = sorted((abs(low), abs(high)))
        return f"{near:.0f} to {far:.0f} % {'more' if low > 0 else 'less'}"
    return f"{factor_text(least)} to {factor_text(most)}"


def _side_word(percent: float, places: int) -> str:
    return f"{abs(percent):.{places}f} % {'less' if percent < 0 else 'more'}"


def signed_change(ratio: Estimate) -> str:
    """Write a ratio for a table: ``-34 % (-39 to -28)``, above a doubling ``x 2.6 (2.1 to 3.3)``."""
    if untold(ratio):
        return NOT_ENOUGH
    if _times(ratio):
        high = f"{ratio.high:.2g}" if math.isfinite(ratio.high) else "no bound"
        return f"x {ratio.value:.2g} ({ratio.low:.2g} to {high})"
    value, low, high_percent, places = _percents(ratio)
    upper = f"{high_percent:+.{places}f}" if math.isfinite(high_percent) else "no bound"
    return f"{_signed(value, places)} % ({_signed(low, places)} to {upper})"


def _signed(percent: float, places: int) -> str:
    text = f"{percent:+.{places}f}"
    return text if float(text) != 0 else f"{0:.{places}f}"


def zeta_text(zeta: Estimate | None) -> str:
    """Write a damping ratio with two figures after the point, three where that is known: ``0.34 ± 0.02``."""
    if zeta is None:
        return UNKNOWN
    if not zeta.tells:
        return NOT_ENOUGH
    down, up = zeta.value - zeta.low, zeta.high - zeta.value
    if down <= 0 and up <= 0:
        return f"{zeta.value:.2f}"
    if not (math.isfinite(down) and math.isfinite(up)):
        return f"{zeta.value:.2f} ({_bounds(zeta.low, zeta.high, 2)})"
    places = 2 if max(down, up) >= 0.0095 else 3
    if max(down, up) <= 1.2 * min(down, up):
        return f"{zeta.value:.{places}f} ± {max(0.5 * (down + up), 10.0**-places):.{places}f}"
    return f"{zeta.value:.{places}f} ({zeta.low:.{places}f} to {zeta.high:.{places}f})"


def end_text(zeta: Estimate, upper: bool) -> str:
    """Write the one end of a damping ratio that is known: ``at most 0.15``."""
    return f"at most {zeta.high:.2f}" if upper else f"at least {zeta.low:.2f}"


# amounts as other rooms write them into their sentences: unit as written -> kind
_WRITTEN = {
    "m/s": "speed",
    "mm": "length",
    "N": "force",
    "kg": "mass",
    "bar": "pressure",
    "N/mm": "stiffness",
    "N*s/m": "damping",
    "N·s/m": "damping",
    "degC": "temperature",
    "°C": "temperature",
}
_ONE = r"[+-]?\d+(?:\.\d+)?"
_AMOUNTS = re.compile(
    rf"(?P<numbers>{_ONE}(?:(?:, | to | and | or | against ){_ONE})*)\s(?P<unit>"
    + "|".join(sorted(map(re.escape, _WRITTEN), key=len, reverse=True))
    + r")(?![\w/*·²])"
)


def readable(text: str, system: System) -> str:
    """Put a sentence of another room into words and units that people of `system` read.

    Such a sentence has metric amounts (``0.26 m/s``, ``20 to 31 degC``) and may call the damping ratio zeta.
    """
    text = re.sub(r"\b(the )?zeta\b", "the damping ratio", text).replace("+-", "± ").replace("±  ", "± ")
    if system == "metric":
        return text.replace("N*s/m", "N·s/m").replace("degC", "°C")

    def converted(found: re.Match[str]) -> str:
        kind = _WRITTEN[found["unit"]]
        metric, shown = SHOWN["metric"][kind].unit, SHOWN[system][kind]

        def one(number: re.Match[str]) -> str:
            si = float(to_si(float(number[0]), kind, metric))
            return f"{float(from_si(si, kind, shown.unit)):.3g}"

        return f"{re.sub(_ONE, one, found['numbers'])} {shown.label}"

    return _AMOUNTS.sub(converted, text)


def range_text(estimate: Estimate) -> str:
    """Write what a damping ratio may be, its interval alone: ``0.55 to 0.80``."""
    if math.isfinite(estimate.high):
        return f"{estimate.low:.2f} to {estimate.high:.2f}"
    return f"at least {estimate.low:.2f}"


def band_text(band: tuple[float, float]) -> str:
    """Write a band of damping ratios: ``0.45 to 0.75``."""
    return f"{band[0]:.2f} to {band[1]:.2f}"
