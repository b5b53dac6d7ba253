"""Why a verdict is what it is, and what else could explain a difference, in words."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

from tuner.comparing.verdict import excludes_one
from tuner.estimates import NORMAL_95, Estimate
from tuner.kinds import NAMES
from tuner.records import Kind, Side
from tuner.wording.doubts.facts import Said

# which test shows a side that a record does not show
SHOWING: Mapping[Kind, Mapping[Side, str]] = {
    "bounce": {
        "compression": "lift the corner and drop it; a push-down shows the return first",
        "rebound": "push the corner down and let go",
    },
    "weights": {
        "compression": "let the weight push the shaft in",
        "rebound": "let the weight pull the shaft out",
    },
    "sweep": {
        "compression": "test the way in at the same speeds",
        "rebound": "test the way out at the same speeds",
    },
    "cycle": {
        "compression": "stroke the damper both ways and record the force",
        "rebound": "stroke the damper both ways and record the force",
    },
    "travel": dict.fromkeys(("compression", "rebound"), "bounce the corner or put the damper on a bench"),
    "flight": dict.fromkeys(("compression", "rebound"), "bounce the corner or put the damper on a bench"),
}
SCALE_ADVICE = (
    "push the shaft in slowly over a scale, let it come back slowly, and give both readings (of a sweep as the "
    "settings push and return)"
)
_STEP = {
    "scale": SCALE_ADVICE,
    "repeats": "test each setting three times",
    "corner": "weigh the corner and measure its motion ratio again",
}
_OF = {
    "scale": "the readings",
    "repeats": "three tests of each setting",
    "corner": "a corner measured twice as well",
}
_PLACE = {
    "below": "below the band",
    "inside": "inside the band",
    "above": "above the band",
    "uncertain": "astride an edge of the band",
    "unknown": "with no band",
}


def per_cent(ratio: float) -> str:
    """Write a ratio as a change: 0.66 -> "-34 %"."""
    change = 100.0 * (ratio - 1.0)
    if not math.isfinite(change):
        return "any amount"
    return f"{change:+.0f} %" if abs(change) >= 1.95 else f"{change:+.1f} %"


def moved(ratio: float) -> str:
    """Write a ratio as a movement: 0.66 -> "fell by 34 %"."""
    if abs(ratio - 1.0) < 5e-4:
        return "did not move"
    return f"{'rose' if ratio >= 1.0 else 'fell'} by {per_cent(ratio).lstrip('+-')}"


def _at(said: Said) -> str:
    """Write " at 0.26 m/s", nothing for a bounce."""
    return said(" at {speed:g}") if "speed" in said else ""


def _interval(ratio: Estimate) -> str:
    return f"95 % interval {per_cent(ratio.low)} to {per_cent(ratio.high)}"


def _change(said: Said) -> str:
    side, at, ratio = said["side"], _at(said), said["ratio"]
    if math.isinf(ratio.high) and ratio.low == 0.0:
        return f"the change of {side} damping{at} cannot be pinned down at all"
    if math.isinf(ratio.high):
        bound = f"by at least {per_cent(ratio.low)}" if ratio.low > 1.0 else "by an unknown amount"
        return f"{side} damping{at} changed {bound}; before it may have been next to nothing"
    if ratio.low == 0.0:
        bound = f"fell by at least {per_cent(ratio.high).lstrip('-')}" if ratio.high < 1.0 else "changed"
        return f"{side} damping{at} {bound}; afterwards it may be next to nothing"
    if not (ratio.tells or excludes_one(ratio)):
        return f"the tests leave the change of {side} damping{at} open by more than a factor of six"
    return f"{side} damping{at} {moved(ratio.value)} ({_interval(ratio)})"


def _zeta(z: Estimate) -> str:
    places = 2 if max(z.value - z.low, z.high - z.value) >= 0.0095 else 3
    return f"{z.value:.{places}f} ({z.low:.{places}f} to {z.high:.{places}f})"


def _stands(said: Said) -> str:
    stood = _zeta(said["zeta"])
    if "moved" in said:
        here = said(" at {here:.2g}") if "here" in said else ""
        stood += said("{at_here}, hence {zeta} at {there:g}", at_here=here, zeta=_zeta(said["moved"]))
    return f"{stood}, {_PLACE[said['place']]}"


def _against_band(said: Said) -> str:
    low, high = said["band"]
    return said(
        "the damping ratio was {before}, and is {after}; the band is {low:.2f} to {high:.2f}",
        low=low,
        high=high,
    )


def _tested(said: Said) -> str:
    if said["slowest"] == said["fastest"]:
        return said("at {slowest:g}")
    return said("from {slowest:~g} to {fastest:g}")


def _no_place(said: Said) -> str:
    wants = [
        *(["a corner (mass, spring, motion ratio)"] if said["corner"] else []),
        *(["a target band"] if said["target"] else []),
    ]
    return f"toward or away needs {' and '.join(wants)}: give a machine file and name the corner"


def _step(said: Said) -> str:
    """Say what to do, most useful first, and how far it and the next best would narrow what is open."""
    if not said["remedies"]:
        return "test at higher speeds"
    best, *others = said["remedies"]
    text = said.shown(best, "")
    if others:
        next_best = others[0].facts
        text += f", {_OF[next_best['kind']]} only to {_wide(next_best['left'])}"
    return text


def _remedy(said: Said) -> str:
    now, left = _wide(said["now"]), _wide(said["left"])
    return f"{_STEP[said['kind']]}; that would narrow it from {now} to {left}"


def _wide(half: float) -> str:
    """Write a half width on logarithms."""
    return f"± {100.0 * half:.2g} %" if half < 0.5 else f"a factor of {math.exp(half):.1f} either way"


def _place_open(what: Callable[[Said], str]) -> Callable[[Said], str]:
    return lambda said: said(
        "the change is clear, its place against the band is not (toward the band {toward:.0f%}, away {away:.0f%}, "
        "inside before and after {inside:.0f%}): {what}",
        what=what(said),
    )


def _against(said: Said) -> str:
    """By how many per cent of the stronger damper the weaker one is weaker; - in its interval: it is the stronger."""
    ratio = said["ratio"]
    weaker, stronger = ("one", "other") if ratio.value >= 1.0 else ("other", "one")
    less = [100.0 * (1.0 - r if r <= 1.0 else 1.0 / r - 1.0) for r in (ratio.value, ratio.low, ratio.high)]
    value, low, high = less if weaker == "other" else [-each for each in less]
    return (
        f"the {weaker} is {value:.0f} % weaker than the {stronger}{_at(said)} "
        f"(95 % interval {min(low, high):.0f} to {max(low, high):.0f} %)"
    )


def _pair_open(said: Said) -> str:
    step = "it lies too near {tolerance:g%}, or is too unsure, for repeats alone: test at higher speeds"
    if "runs" in said:
        step = "about {runs} runs of each, remounted in between, would tell"
    return said(f"{{other}}; whether that is within {{tolerance:g%}} is open; {step}")


def _oil_temperature(said: Said) -> str:
    weaker = said["compression"] < 0.0 or said["rebound"] < 0.0
    return said(
        "the oil was at {one:.0f} {first} and {other:.0f} {second}; that alone can {way} the damping by anything up "
        "to {c:.0f%} in compression and {r:.0f%} in rebound (a leak follows the oil's viscosity, an orifice does not)",
        way="weaken" if weaker else "strengthen",
        c=abs(said["compression"]),
        r=abs(said["rebound"]),
    )


def _dead_stroke(said: Said) -> str:
    one, other = (
        said(f"{{{name}:.1f}} ({{{name}.low:~.1f}} to {{{name}.high:.1f}})") if name in said else "unknown"
        for name in ("one", "other")
    )
    return said(
        "dead stroke in {side}: {here} {first}, {there} {second}; where it is, the damping at low speed mixes it with "
        "the oil's resistance",
        here=one,
        there=other,
    )


def _frequency_shift(said: Said) -> str:
    here, there = (Estimate.exact(NORMAL_95 * said[name].sd, "Hz") for name in ("one", "other"))
    return said(
        "the corner swung at {one:~.2f} ± {here:.2f} {first} and {other:~.2f} ± {there:.2f} {second}: spring, load or "
        "tyre pressure changed as well",
        here=here,
        there=there,
    )


SENTENCES: Mapping[str, str | Callable[[Said], str]] = {
    # why a verdict is what it is
    "change": _change,
    "stands": _stands,
    "against-band": _against_band,
    "moved": lambda said: f"{moved(said['ratio'].value)}{_at(said)}",
    "elsewhere": "{side} damping {changes}",
    "fitted-together": (
        "the recordings of a setting were fitted together ({before} before, {after} after); ± {allowance:g%} was "
        "allowed on the ratio of two single ones for refitting and temperature"
    ),
    "scatter-measured": ("repeats measured the scatter from run to run ({before} before, {after} after)"),
    "scatter-allowed": (
        "± {allowance:g%} allowed on the ratio for refitting and temperature of two single runs; repeats would "
        "measure it"
    ),
    "scatter-allowed:one": (
        "its share allowed on the ratio for refitting and temperature of the single run; repeats would measure it"
    ),
    "tested": _tested,
    "tested:bounce": "a bounce, which has no speed of its own",
    "tested:nowhere": "at no reference speed",
    "side-unseen": lambda said: said(
        "the record {when} does not show {side}: {how}", how=SHOWING[said["kind"]][said["side"]]
    ),
    "none-above-zero": "the fit {when:&} found no {side} damping above zero: test at higher speeds",
    "bounce-against-damper": (
        "one record is of the whole corner (a bounce) and one of the damper alone: record {side} the same way before "
        "and after"
    ),
    "no-shared-speed": (
        "{side} was tested {before} before and {after} after, with no usable reference speed in both: test both over "
        "the same speeds"
    ),
    "remedy": _remedy,
    "no-place": _no_place,
    "change-open": lambda said: f"the interval is too wide to tell a change of 25 % from none: {_step(said)}",
    "damping-unsure": (
        "the damping is too unsure for a place against the band: test at higher speeds, or repeat"
    ),
    "place-open": _place_open(_step),
    "place-open:bend": _place_open(
        lambda said: said(
            "what the damper does at {there:g} these bounces do not show: a bench test of it does"
        )
    ),
    "no-target-speed": "no target names a speed; the change is stated at {speed:g}",
    "nearest-speed": ("the target is meant at {target:g}; compared at {speed:g}, the nearest that both hold"),
    "cancels": (
        "at {speeds:&g} the change is not one column over the other: each test alone leaves friction and gas force a "
        "little open, both together must have the same of them, and what is wrong in it cancels"
    ),
    "both-inside": "the change is real, but the damping ratio stands inside the band before and after",
    "both-inside:open": (
        "a change is not shown, but the damping ratio stands inside the band before and after"
    ),
    "no-change-seen": "a change of 25 % would have been seen",
    # two dampers
    "against": _against,
    "pair-off": "{other}, beyond {tolerance:g%}",
    "pair-within": "within {tolerance:g%}; at most {other}",
    "pair-open": _pair_open,
    "pair-unseen": lambda said: f"not shown by the record of the {' and the '.join(said['which'])}",
    "pair-no-speed": "the two records share no reference speed",
    "one-side": "only {side} could be compared; the other side may still differ",
    # what else could explain it
    "oil-temperature-unknown": (
        "the oil temperature is known only {when}: a warm damper against a cold one looks like a change"
    ),
    "oil-temperature": _oil_temperature,
    "oil-temperature-not-noted": (
        "nobody noted the oil temperature; test at the same one, or note it, because warm oil damps less"
    ),
    "stroke": "the stroke was {one:.3g} {first} and {other:.3g} {second}",
    "gas-pressure": "the gas pressure was {one:.3g} {first} and {other:.3g} {second}",
    "gas-force": (
        "the gas force was {one:.0f} ({one.low:~.0f} to {one.high:.0f}) {first} and {other:.0f} ({other.low:~.0f} to "
        "{other.high:.0f}) {second}: another pressure, oil quantity or position"
    ),
    "friction": (
        "the friction was {one:.0f} ({one.low:~.0f} to {one.high:.0f}) {first} and {other:.0f} ({other.low:~.0f} to "
        "{other.high:.0f}) {second}: seals, side load or alignment"
    ),
    "no-overlap": "no reference speed was tested in {side} both {first} and {second}",
    "no-overlap:path": ("no reference speed was tested in every run; shown is {speed:g}, which {runs} hold"),
    "speeds-alone": "{speeds:g} only {when}",
    "speed-range": "tested in {side} at {alone:&}; only the shared speeds are compared",
    "dead-stroke": _dead_stroke,
    "different-kinds": lambda said: said(
        "the record {first} is a {here}, {second} a {there}: part of a difference may come from the way of measuring",
        here=NAMES[said["one"]],
        there=NAMES[said["other"]],
    ),
    "different-kinds:path": (
        "bounces and bench runs stand in one path: their ratios are shown, their changes are not compared"
    ),
    "sampling-rate": "sampled at {one:.0f} {first} and {other:.0f} {second}",
    "quality": "only the recording {when} has a doubt: {doubts:;}",
    "fade": "the damping drifted by {drift:+.0f%} within the test {when}: heat",
    "frequency-shift": _frequency_shift,
    "settings-differ": "the two dampers were not set alike: {settings}",
    "several-changes": "{settings} were changed at once: the comparison cannot say which of them did it",
    "spring-changed": "the spring was changed as well; both damping ratios are for the corner as given",
}
