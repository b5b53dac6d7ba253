"""Which number of a machine is probably wrong: mistakes ranked by how well each explains all that is known.

Takes a corner, the machine around it, the frequency of a bounce, the words of the files; gives `Suspect`s, likeliest
first, as data.

Everything is a difference of logarithms: what was measured (or is usual) less what the corner's numbers give. A mistake
shifts these differences by known amounts, so that each has a Gaussian likelihood in closed form; with how often it is
made that is its chance (Bayes' rule; one mistake at a time). What is usual, and its spread: common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from tuner.errors import MachineError
from tuner.estimates import NORMAL_95, Estimate
from tuner.machine.linkage import rest
from tuner.machine.mistakes import INVERTED, MISTAKES, Mistake, log_factor
from tuner.machine.parts import Corner, Machine
from tuner.machine.positions import position_of
from tuner.machine.rates import frequency as expected_frequency
from tuner.machine.rates import rate_at_wheel
from tuner.machine.sums import cg_to_front
from tuner.units import GRAVITY

NAMED = 0.5  # from this chance on that something is wrong it is said
WORTH_SAYING = 0.3  # of the likeliest's chance, from which the next one is said too

# what is usual: middle and standard deviation of the logarithm
USUAL_HERTZ = (1.79, 0.41)  # 95 % of off-road machines between 0.8 and 4 Hz
USUAL_MASS = (105.0, 0.45)  # kg on the spring of one corner of a home-built machine
USUAL_RATIO = (0.62, 0.30)
USUAL_SAG_SHARE = (0.28, 0.45)  # shaft travel at rest over the full one
USUAL_TYRE = (5.5, 0.45)  # tyre rate over wheel rate
# how far right numbers disagree: a body that pitches swings at another frequency; rubber and friction stiffen
SWING_SPREAD = 0.04
SAG_SPREAD = 0.07
SHARE_SPREAD = 0.12
TWIN_SPREAD = 0.10  # left against right
OTHER_SPREAD = {"sprung_mass": 0.40, "spring_rate": 0.45, "motion_ratio": 0.25, "tyre_rate": 0.35}
PRELOADED, PRELOAD = 0.25, (-0.35, 0.25)  # share of corners; what it does to the logarithm of the sag
ALIKE = 0.5  # share of mistakes that are made in all corners of the file
BESIDE = (
    "twin",
    "others",
    "share",
)  # clues that another corner or the body gives, and could have wrong itself
BESIDE_WRONG = (0.05, 1.0)  # how often one of those is wrong, and by how much on the logarithm
OTHER_CORNER = 0.02  # share of tests that are judged as another corner of the machine
WORDS_WEIGH = 8.0  # log odds that the file's own words give to the corner they name


@dataclass(frozen=True, slots=True)
class Clue:
    """One thing that speaks for a suspect.

    code : "bounce" [Hz], "sag" [m], "usual-frequency" [Hz], "usual-mass" [kg], "usual-ratio" [-], "usual-sag" [-],
    "usual-tyre" [-], "twin" and "others" (the number of another corner), "share" (front over rear mass), "words".
    found : what was measured or is usual; expected : what the numbers as given make of it; mended : what they make of
    it without the mistake.
    """

    code: str
    found: float
    expected: float
    mended: float
    weight: float  # log likelihood that it adds over the numbers as given


@dataclass(frozen=True, slots=True)
class Suspect:
    """A number that is probably wrong.

    code : of `mistakes`, or "other-corner", "preload". corner : its name; key : in the machine file. given, right : the
    number as it stands and the one that would explain all, SI (for "other-corner" the frequencies expected; for
    "preload" the sag expected, and the preload [m]). chance : that it is this; other : the corner meant instead;
    words, files : what the files call themselves, and which do.
    """

    code: str
    corner: str
    key: str
    given: Estimate
    right: Estimate
    chance: float
    clues: tuple[Clue, ...] = ()
    other: str = ""
    words: str = ""
    files: tuple[str, ...] = ()


class _Row(NamedTuple):
    """One difference of logarithms, its standard deviation, and by how much each key moves what is expected."""

    code: str
    found: float
    expected: float
    sd: float
    moves: Mapping[str, float]

    @property
    def gap(self) -> float:
        return math.log(self.found / self.expected)


class _Said(NamedTuple):
    """The corner that the files name by their own words ("" for none), these words, and the files that say so."""

    corner: str = ""
    words: str = ""
    files: tuple[str, ...] = ()


class _Case(NamedTuple):
    """One explanation: the shift of every row, its spread along them, its share among corners."""

    mistake: Mistake | None
    other: str
    shift: np.ndarray
    along: np.ndarray
    spread: float
    often: float


def _value(corner: Corner, key: str) -> Estimate | None:
    if key == "motion_ratio":
        return (
            Estimate.exact(rest(corner).ratio, "1")
            if corner.motion_ratio.constant is None
            else (corner.motion_ratio.constant)
        )
    value: Estimate | None = getattr(corner, key)
    return value


def _hertz(corner: Corner) -> float:
    return math.sqrt(rate_at_wheel(rest(corner)) / corner.sprung_mass.value) / (2.0 * math.pi)


_SWING = {"sprung_mass": -0.5, "spring_rate": 0.5, "motion_ratio": 1.0}
_SAG = {"sprung_mass": 1.0, "spring_rate": -1.0, "motion_ratio": -1.0}


def _rows(corner: Corner, machine: Machine | None, frequency: Estimate | None) -> Iterator[_Row]:
    ratio, hertz = rest(corner).ratio, _hertz(corner)
    if frequency is not None:
        known = expected_frequency(corner).log_sd
        sd = (
            math.hypot(frequency.log_sd, known, SWING_SPREAD) if math.isfinite(frequency.log_sd) else math.inf
        )
        if math.isfinite(sd):
            yield _Row("bounce", frequency.value, hertz, sd, _SWING)
    else:
        yield _Row("usual-frequency", USUAL_HERTZ[0], hertz, USUAL_HERTZ[1], _SWING)
    mass = corner.sprung_mass.value
    yield _Row("usual-mass", USUAL_MASS[0], mass, USUAL_MASS[1], {"sprung_mass": 1.0})
    yield _Row("usual-ratio", USUAL_RATIO[0], ratio, USUAL_RATIO[1], {"motion_ratio": 1.0})
    sag = mass * GRAVITY / (ratio * corner.spring_rate.value)
    static, travel = corner.static_travel, corner.damper_travel
    if static is not None:
        stated = math.hypot(static.log_sd, corner.sprung_mass.log_sd, corner.spring_rate.log_sd)
        yield _Row("sag", static.value, sag, math.hypot(stated, SAG_SPREAD), _SAG)
    elif travel is not None:
        yield _Row("usual-sag", USUAL_SAG_SHARE[0], sag / travel.value, USUAL_SAG_SHARE[1], _SAG)
    if corner.tyre_rate is not None:
        over = corner.tyre_rate.value / rate_at_wheel(rest(corner))
        moves = {"tyre_rate": 1.0, "spring_rate": -1.0, "motion_ratio": -2.0}
        yield _Row("usual-tyre", USUAL_TYRE[0], over, USUAL_TYRE[1], moves)
    if machine is not None:
        yield from _beside(corner, machine)


def _beside(corner: Corner, machine: Machine) -> Iterator[_Row]:
    """Hold the numbers against those of the other corners, and the masses against the body."""
    place = position_of(corner.name)
    others = [other for other in machine.corners.values() if other.name != corner.name]
    twins = [o for o in others if place and position_of(o.name).axle == place.axle]
    for key, spread in OTHER_SPREAD.items():
        own = _value(corner, key)
        for code, among, sd in (("twin", twins, TWIN_SPREAD), ("others", others, spread)):
            values = [
                v.value
                for o in among
                if o not in (twins if code == "others" else ()) and (v := _value(o, key))
            ]
            if own is not None and values:
                nearest = min(values, key=lambda v: abs(math.log(v / own.value)))
                yield _Row(code, nearest, own.value, sd, {key: 1.0})
    axles, body = machine.axles, machine.body
    if axles is None or body is None or corner.name not in (axles.front, axles.rear):
        return
    front, rear = (machine.corners[name].sprung_mass.value for name in (axles.front, axles.rear))
    share = 1.0 - cg_to_front(body).value / body.wheelbase.value
    if 0.0 < share < 1.0:
        way = 1.0 if corner.name == axles.front else -1.0
        yield _Row("share", share / (1.0 - share), front / rear, SHARE_SPREAD, {"sprung_mass": way})


def _cases(corner: Corner, machine: Machine | None, rows: Sequence[_Row], said: str) -> Iterator[_Case]:
    nothing = np.zeros(len(rows))
    among_others = np.array([row.code in BESIDE for row in rows])
    ratio = rest(corner).ratio
    for mistake in MISTAKES:
        along = np.array([row.moves.get(mistake.key, 0.0) for row in rows])
        if _value(corner, mistake.key) is None or (
            mistake.code == INVERTED and not _invertible(corner, ratio)
        ):
            continue
        shift, several = log_factor(mistake, ratio), bool(among_others.any())
        yield _Case(
            mistake, "", along * shift, along, mistake.spread, mistake.often * (1.0 - ALIKE * several)
        )
        if several:
            all_of_them = np.where(among_others, 0.0, along)
            yield _Case(mistake, "", all_of_them * shift, all_of_them, mistake.spread, mistake.often * ALIKE)
    others = [] if machine is None else [o for o in machine.corners.values() if o.name != corner.name]
    candidates = [o for o in others if not _same_numbers(o, corner)]
    for other in candidates:
        shift = math.log(_hertz(other) / _hertz(corner))
        moved = np.array([shift if row.code == "bounce" else 0.0 for row in rows])
        weigh = 0.0 if not said else WORDS_WEIGH if said == other.name else -WORDS_WEIGH
        yield _Case(None, other.name, moved, nothing, 0.0, OTHER_CORNER / len(candidates) * math.exp(weigh))


def _invertible(corner: Corner, ratio: float) -> bool:
    return corner.motion_ratio.constant is not None and abs(math.log(ratio)) > 0.1


def _same_numbers(one: Corner, other: Corner) -> bool:
    keys = (*OTHER_SPREAD, "unsprung_mass")
    return all(_value(one, key) == _value(other, key) for key in keys)


def _log_likelihood(gap: np.ndarray, cover: np.ndarray) -> float:
    return -0.5 * float(gap @ np.linalg.solve(cover, gap) + np.linalg.slogdet(cover)[1])


def _weigh(case: _Case | None, rows: Sequence[_Row]) -> tuple[float, float, np.ndarray, np.ndarray]:
    """Log likelihood of a case (None: all is right), share of it with preload, gap and covariance of the likelier."""
    sag = np.array([row.code == "sag" for row in rows], dtype=float)
    gap = np.array([row.gap for row in rows])
    cover = np.diag([row.sd**2 for row in rows])
    if case is not None:
        gap = gap - case.shift
        cover = cover + case.spread**2 * np.outer(case.along, case.along)
    plain = _log_likelihood(gap, cover)
    if not sag.any():
        return plain, 0.0, gap, cover
    loaded = gap - PRELOAD[0] * sag, cover + PRELOAD[1] ** 2 * np.outer(sag, sag)
    with_preload = _log_likelihood(*loaded) + math.log(PRELOADED)
    plain += math.log1p(-PRELOADED)
    total = float(np.logaddexp(plain, with_preload))
    share = math.exp(with_preload - total)
    return total, share, *(loaded if share > 0.5 else (gap, cover))


def suspects_of(
    corner: Corner,
    machine: Machine | None = None,
    frequency: Estimate | None = None,
    texts: Mapping[str, Sequence[str]] | None = None,
) -> tuple[Suspect, ...]:
    """Rank what is probably wrong with the numbers of `corner`, likeliest first; nothing where they may be right.

    machine : the one it belongs to. frequency : of the body on its spring, as a bounce shows it [Hz]. texts : by file,
    the words that stand in it and its name. Preload alone is no wrong number; it stands last.
    """
    try:
        rows = list(_rows(corner, machine, frequency))
        said = _said(corner, machine, texts or {})
        cases = list(_cases(corner, machine, rows, said.corner))
    except MachineError:  # a corner without a wheel rate has its own note
        return ()
    right, preload, *_ = _weigh(None, rows)
    often, spread = BESIDE_WRONG
    elsewhere = [r._replace(sd=math.hypot(r.sd, spread)) if r.code in BESIDE else r for r in rows]
    right = float(np.logaddexp(right + math.log1p(-often), _weigh(None, elsewhere)[0] + math.log(often)))
    weighed = [_weigh(case, rows) for case in cases]
    logs = np.array([w[0] + math.log(case.often) for case, w in zip(cases, weighed, strict=True)])
    usual = max(1.0 - sum(m.often for m in MISTAKES) - OTHER_CORNER, 0.5)
    top = max(right + math.log(usual), float(logs.max()))
    chances = np.exp(logs - top)
    fine = math.exp(right + math.log(usual) - top)
    total = fine + float(chances.sum())
    found: list[Suspect] = []
    if fine / total < NAMED:
        found = _joined(
            _suspect(corner, machine, case, chance / total, rows, w[2], w[3], said)
            for case, chance, w in zip(cases, chances, weighed, strict=True)
        )
        found = [s for s in found if s.chance >= WORTH_SAYING * found[0].chance]
    if preload > 0.5 and not any(clue.code == "sag" for suspect in found for clue in suspect.clues):
        found += _preloaded(rows, corner)
    return tuple(found)


def _joined(suspects: Iterator[Suspect]) -> list[Suspect]:
    """Put the same mistake in this corner and in all of them together; likeliest first."""
    by_code: dict[tuple[str, str], Suspect] = {}
    for s in suspects:
        before = by_code.get((s.code, s.other))
        if before is None:
            by_code[s.code, s.other] = s
            continue
        best = s if s.chance > before.chance else before
        by_code[s.code, s.other] = replace(best, chance=s.chance + before.chance)
    return sorted(by_code.values(), key=lambda s: -s.chance)


def _suspect(
    corner: Corner,
    machine: Machine | None,
    case: _Case,
    chance: float,
    rows: Sequence[_Row],
    gap: np.ndarray,
    cover: np.ndarray,
    said: _Said,
) -> Suspect:
    if case.mistake is None:
        assert machine is not None
        other = expected_frequency(machine.corners[case.other])
        clues, own = _clues(rows, case.shift), expected_frequency(corner)
        words, files = (said.words, said.files) if said.corner == case.other else ("", ())
        return Suspect("other-corner", corner.name, "", own, other, chance, clues, case.other, words, files)
    given = _value(corner, case.mistake.key)
    assert given is not None
    solved = np.linalg.solve(cover, case.along)
    moved = case.spread**2 * float(solved @ gap)
    left = case.spread**2 - case.spread**4 * float(solved @ case.along)
    log = log_factor(case.mistake, rest(corner).ratio) + moved
    spread = math.hypot(given.log_sd, math.sqrt(max(left, 0.0)))
    right = Estimate.from_log_sd(given.value * math.exp(log), spread, given.unit)
    return Suspect(
        case.mistake.code, corner.name, case.mistake.key, given, right, chance, _clues(rows, case.along * log)
    )


def _clues(rows: Sequence[_Row], shift: np.ndarray) -> tuple[Clue, ...]:
    """Give what speaks for a shift, the strongest first."""
    clues = [
        Clue(
            row.code,
            row.found,
            row.expected,
            row.expected * math.exp(by),
            0.5 * (row.gap**2 - (row.gap - by) ** 2) / row.sd**2,
        )
        for row, by in zip(rows, shift.tolist(), strict=True)
    ]
    return tuple(sorted((c for c in clues if c.weight > 0.7), key=lambda c: -c.weight))


def _preloaded(rows: Sequence[_Row], corner: Corner) -> list[Suspect]:
    (sag,) = (row for row in rows if row.code == "sag")
    missing = sag.expected - sag.found
    half = NORMAL_95 * sag.sd * sag.expected
    if missing <= 0.0:
        return []
    right = Estimate(missing, max(missing - half, 0.0), missing + half, "m")
    given = Estimate.exact(sag.expected, "m")
    clue = Clue("sag", sag.found, sag.expected, sag.found, 0.5 * (sag.gap / sag.sd) ** 2)
    return [Suspect("preload", corner.name, "static_travel", given, right, 0.5, (clue,))]


def _said(corner: Corner, machine: Machine | None, texts: Mapping[str, Sequence[str]]) -> _Said:
    """Read which corner the files name by their own words; silent where they name none, or two."""
    own = position_of(corner.name)
    places = {name: place for name, lines in texts.items() if (place := position_of(name, *lines))}
    against = {name: place for name, place in places.items() if own and place.excludes(own)}
    if machine is None or not against:
        return _Said(corner.name if places and own else "")
    place = next(iter(against.values()))
    meant = [
        o.name
        for o in machine.corners.values()
        if (at := position_of(o.name)) and not at.excludes(place) and not _same_numbers(o, corner)
    ]
    return _Said(meant[0], " ".join(filter(None, place)), tuple(against)) if meant else _Said()
