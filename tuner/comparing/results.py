"""What comparing gives: frozen values, the same shape whatever was compared.

Takes nothing; gives `Comparison`, `PairMatch`, `MeasureChange` and their parts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from tuner.comparing.ground import SharedGround
from tuner.estimates import Estimate, Note
from tuner.judging import LEANING, JudgedSide, Judgement
from tuner.records import SIDES, Side

Way = Literal["toward", "away", "inside"]
Verdict = Literal["toward", "away", "no clear change", "cannot tell"]


@dataclass(frozen=True, slots=True)
class ChangeAt:
    """Ratio after / before [-] at one reference speed [m/s]; speed None for bounces."""

    speed: float | None
    ratio: Estimate


RemedyKind = Literal["scale", "repeats", "corner"]


@dataclass(frozen=True, slots=True)
class Remedy:
    """Something that would make an open answer surer: a slow push on a scale, repeats, the corner measured again.

    now, left : 95 % half width on logarithms of what is open, without it and with it.
    """

    kind: RemedyKind
    now: float
    left: float


@dataclass(frozen=True, slots=True)
class SideComparison:
    """One side, before against after.

    change : at every reference speed both hold. at_target : the entry the verdict is about.
    probability : of what the verdict says. "no clear change": that the true change is smaller than 10 %, or that
    both stand inside the band; "cannot tell": of the likeliest of toward, away and both inside; None when
    nothing could be computed.
    changed : whether the 95 % interval of `at_target` excludes 1; None without one.
    """

    side: Side
    change: tuple[ChangeAt, ...]
    at_target: ChangeAt | None
    before: JudgedSide
    after: JudgedSide
    verdict: Verdict
    probability: float | None
    reasons: tuple[Note, ...]
    changed: bool | None
    likeliest: Way | None = None  # of an open verdict: which outcome `probability` is about
    remedies: tuple[Remedy, ...] = ()  # of an open verdict: what can be done, the most useful first

    @property
    def in_words(self) -> str:
        """The side in a few words, for `repr`."""
        ratio = "" if self.at_target is None else f"{self.at_target.ratio} "
        return f"{self.side} {ratio}{self.verdict}"

    def __repr__(self) -> str:
        return f"<SideComparison: {self.in_words}>"

    @property
    def leaning(self) -> tuple[Way, float] | None:
        """What an open verdict leans to, with its probability, from `LEANING` on."""
        if self.likeliest is None or self.probability is None or self.probability < LEANING:
            return None
        return self.likeliest, self.probability

    @property
    def judged_at(self) -> float | None:
        """The speed [m/s] that bounces show, of both tests together, where their band is at another one."""
        known = [judged.judged_at for judged in (self.before, self.after) if judged.judged_at is not None]
        return math.prod(known) ** (1.0 / len(known)) if known else None


@dataclass(frozen=True, slots=True)
class MeasureChange:
    """One measure of a drive or a jump, before and after.

    name : as in the fit's measures; stops count per minute. difference : after minus before; None when it cannot be
    given. changed : whether its 95 % interval excludes zero; None where that says nothing about the change (other
    ground, one jump against one). side, speeds [m/s] : which part of the measure, where it has several.
    each : the single values before and after of jumps that are unlike each other and have no mean, else empty.
    """

    name: str
    before: Estimate | None
    after: Estimate | None
    difference: Estimate | None
    changed: bool | None
    reasons: tuple[Note, ...]
    side: Side | None = None
    speeds: tuple[float, float] | None = None
    each: tuple[tuple[Estimate, ...], tuple[Estimate, ...]] = ((), ())


@dataclass(frozen=True, slots=True, eq=False)
class Comparison:
    """Both sides of a change, with what else could explain it.

    allowance : 95 % half width, on logarithms, that was put on the ratio of two single runs. measures : what
    drives and jumps give instead of damping, empty for every other kind. ground : what drives share, None for others.
    """

    before: Judgement
    after: Judgement
    compression: SideComparison
    rebound: SideComparison
    confounders: tuple[Note, ...] = ()
    notes: tuple[Note, ...] = ()
    allowance: float = 0.0
    measures: tuple[MeasureChange, ...] = ()
    ground: SharedGround | None = None

    def side(self, name: Side) -> SideComparison:
        """Give that side."""
        return self.compression if name == "compression" else self.rebound

    def __repr__(self) -> str:
        if self.measures:
            changed = [change.name for change in self.measures if change.changed]
            return (
                f"<Comparison: {len(self.measures)} measures, clearly changed {', '.join(changed) or 'none'}>"
            )
        return f"<Comparison: {', '.join(self.side(name).in_words for name in SIDES)}>"


@dataclass(frozen=True, slots=True)
class SideMatch:
    """One side of two dampers: ratio other / one; matched None = cannot be told either way.

    probability : that the side is within the tolerance (True, None) or outside (False). at : the entry to name, the
    surest outside, the least sure where it is open, the widest of two that are alike; None without any.
    """

    side: Side
    ratio: tuple[ChangeAt, ...]
    matched: bool | None
    probability: float | None
    reasons: tuple[Note, ...]
    at: ChangeAt | None = None

    @property
    def in_words(self) -> str:
        """The side in a few words, for `repr`."""
        return f"{self.side} {'unknown' if self.at is None else self.at.ratio} matched {self.matched}"

    def __repr__(self) -> str:
        return f"<SideMatch: {self.in_words}>"


@dataclass(frozen=True, slots=True, eq=False)
class PairMatch:
    """Two dampers side by side, within `tolerance` (0.10 = 10 % of the stronger one)."""

    one: Judgement
    other: Judgement
    sides: tuple[SideMatch, SideMatch]  # compression, rebound
    matched: bool | None
    tolerance: float
    notes: tuple[Note, ...] = ()
    confounders: tuple[Note, ...] = ()
    allowance: float = 0.0

    def __repr__(self) -> str:
        return f"<PairMatch: matched {self.matched}; {', '.join(side.in_words for side in self.sides)}>"

    @property
    def compression(self) -> SideMatch:
        """The compression side."""
        return self.sides[0]

    @property
    def rebound(self) -> SideMatch:
        """The rebound side."""
        return self.sides[1]

    def side(self, name: Side) -> SideMatch:
        """Give that side."""
        return self.compression if name == "compression" else self.rebound
