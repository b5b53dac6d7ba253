"""What fit, compare and match give: a job with its short form, its table, its frame and its pictures.

Takes jobs; gives `FitResult`, `CompareResult` and `MatchResult`.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

from tuner import wording
from tuner.api.views import frame_of, html_of
from tuner.errors import UsageError
from tuner.estimates import Note
from tuner.exchange import change_rows, fit_rows, match_rows
from tuner.jobs import CompareJob, FitJob, Location, MatchJob
from tuner.records import SIDES, Kind
from tuner.wording.fits import note_points

if TYPE_CHECKING:
    import pandas as pd
    import plotly.graph_objects as go

    from tuner.charts import FigureGroup
    from tuner.comparing import Comparison, MeasureChange, PairMatch, SideComparison, SideMatch
    from tuner.exchange.rows import Row
    from tuner.fitting.results import Fit, SideFit
    from tuner.judging import Judgement
    from tuner.machine import Corner


class _Result(ABC):
    """What the three results share: how they show themselves."""

    __slots__ = ()
    job: FitJob | CompareJob | MatchJob
    _first_pictures: ClassVar[tuple[str, ...]] = ()  # which picture is drawn where none is named

    @abstractmethod
    def _rows(self) -> list[Row]: ...

    @abstractmethod
    def _table(self) -> wording.Table: ...

    @abstractmethod
    def _headline(self) -> wording.Headline: ...

    @abstractmethod
    def _pictures(self) -> Sequence[FigureGroup]: ...

    @property
    def notes(self) -> tuple[Note, ...]:
        """Every doubt as data, the numbers that are probably wrong first."""
        return wording.notes_of(self.job)

    @property
    def doubts(self) -> tuple[str, ...]:
        """Every doubt as a sentence, in the order of `notes`."""
        return note_points(self.notes)

    @property
    @abstractmethod
    def cautions(self) -> tuple[str, ...]:
        """What to be careful of, by what was tested."""

    @property
    def summary(self) -> str:
        """The answer in a sentence."""
        headline = self._headline()
        return f"{headline.answer}. {headline.sentence}" if headline.answer else headline.sentence

    @property
    def pictures(self) -> tuple[str, ...]:
        """Names of the pictures that `plot` draws."""
        return tuple(each.name for group in self._pictures() for each in group.figures)

    def plot(self, picture: str | None = None) -> go.Figure:
        """Draw a picture (plotly): the one of that name, see `pictures`, or the one that shows the answer.

        Raises UsageError for a name that is none of them, and where the result has nothing to draw.
        """
        drawn = {each.name: each for group in self._pictures() for each in group.figures}
        if not drawn:
            raise UsageError("this result has nothing to draw", hint="Its notes say what is missing.")
        name = picture
        if name is None:
            name = next((first for first in self._first_pictures if first in drawn), next(iter(drawn)))
        if name not in drawn:
            raise UsageError(f"no picture is called {picture!r}", hint=f"There are: {', '.join(drawn)}.")
        return drawn[name].figure

    def to_frame(self) -> pd.DataFrame:
        """Give a pandas DataFrame in SI: one row per side and reference speed, or per measure of a drive or a jump."""
        return frame_of(self._rows())

    def __repr__(self) -> str:
        return f"<{type(self).__name__} {self._named()}: {wording.in_one_line(self._table())}>"

    @abstractmethod
    def _named(self) -> str: ...

    def _repr_html_(self) -> str:
        checks = wording.check_points(self.notes)
        return html_of(wording.provided(self._headline(), checks), self._table(), checks, self.cautions)


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class FitResult(_Result):
    """One setting of one damper, read, fitted and, with a corner, judged.

    fit : the values of the fit, all repeats together. judgement : its damping ratios and their place.
    """

    job: FitJob

    @property
    def kind(self) -> Kind:
        """The kind of record."""
        return self.fit.kind

    @property
    def fit(self) -> Fit:
        """The fit of all repeats together."""
        return self.job.fit

    @property
    def judgement(self) -> Judgement:
        """The damping ratios on the corner, and where they stand against the target."""
        return self.job.judgement

    @property
    def compression(self) -> SideFit:
        """The way in."""
        return self.fit.compression

    @property
    def rebound(self) -> SideFit:
        """The way out."""
        return self.fit.rebound

    @property
    def corner(self) -> Corner | None:
        """The corner it was judged on."""
        return self.judgement.corner

    @property
    def location(self) -> Location:
        """The corner, its target and the machine it is of."""
        return Location(self.judgement.corner, self.judgement.target, self.job.machine_input)

    @property
    def cautions(self) -> tuple[str, ...]:
        """What to be careful of, by what was tested."""
        return wording.cautions_for([self.kind])

    def _named(self) -> str:
        files = dict.fromkeys(reading.record.provenance.file for reading in self.job.readings)
        return f"{self.kind}, {' + '.join(files)}"

    def _rows(self) -> list[Row]:
        return fit_rows(self.judgement)

    def _table(self) -> wording.Table:
        return wording.fit_sides(self.judgement)

    def _headline(self) -> wording.Headline:
        return wording.fit_headline(self.judgement)

    def _pictures(self) -> Sequence[FigureGroup]:
        from tuner.charts import figure_groups  # half a second, spent where there is something to draw

        return figure_groups(
            [("this test", self.judgement)], None, target_speed=_target_speed(self.judgement)
        )


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class CompareResult(_Result):
    """What a change did, before against after."""

    job: CompareJob
    _first_pictures = ("outcomes", "ratio-band", "change")

    @property
    def comparison(self) -> Comparison:
        """The values of the comparison."""
        return self.job.comparison

    @property
    def before(self) -> FitResult:
        """The setting before."""
        return FitResult(self.job.before)

    @property
    def after(self) -> FitResult:
        """The setting after."""
        return FitResult(self.job.after)

    @property
    def compression(self) -> SideComparison:
        """The way in."""
        return self.comparison.compression

    @property
    def rebound(self) -> SideComparison:
        """The way out."""
        return self.comparison.rebound

    @property
    def measures(self) -> tuple[MeasureChange, ...]:
        """What became of the measures of drives and jumps, empty for the other kinds."""
        return self.comparison.measures

    @property
    def confounders(self) -> tuple[Note, ...]:
        """What else could explain the change."""
        return self.comparison.confounders

    @property
    def cautions(self) -> tuple[str, ...]:
        """What to be careful of, by what was tested and now that something was changed."""
        return wording.cautions_for([self.before.kind, self.after.kind], after_change=True)

    def _named(self) -> str:
        return " against ".join(dict.fromkeys((self.before.kind, self.after.kind)))

    def _rows(self) -> list[Row]:
        return change_rows(self.comparison)

    def _table(self) -> wording.Table:
        return wording.change_sides(self.comparison)

    def _headline(self) -> wording.Headline:
        return wording.change_headline(self.comparison)

    def _pictures(self) -> Sequence[FigureGroup]:
        from tuner.charts import figure_groups

        before, after = self.comparison.before, self.comparison.after
        return figure_groups(
            [("before", before), ("after", after)],
            {side: self.comparison.side(side).change for side in SIDES},
            target_speed=_target_speed(before, after),
            comparison=self.comparison,
        )


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class MatchResult(_Result):
    """Two dampers side by side."""

    job: MatchJob
    _first_pictures = ("change",)

    @property
    def match(self) -> PairMatch:
        """The values of the match."""
        return self.job.match

    @property
    def one(self) -> FitResult:
        """The one damper."""
        return FitResult(self.job.one)

    @property
    def other(self) -> FitResult:
        """The other damper."""
        return FitResult(self.job.other)

    @property
    def matched(self) -> bool | None:
        """Whether the two are alike within the tolerance; None where it cannot be told."""
        return self.match.matched

    @property
    def compression(self) -> SideMatch:
        """The way in."""
        return self.match.compression

    @property
    def rebound(self) -> SideMatch:
        """The way out."""
        return self.match.rebound

    @property
    def cautions(self) -> tuple[str, ...]:
        """What to be careful of, by what was tested."""
        return wording.cautions_for([self.one.kind, self.other.kind])

    def _named(self) -> str:
        return " against ".join(dict.fromkeys((self.one.kind, self.other.kind)))

    def _rows(self) -> list[Row]:
        return match_rows(self.match)

    def _table(self) -> wording.Table:
        return wording.pair_sides(self.match)

    def _headline(self) -> wording.Headline:
        return wording.pair_headline(self.match)

    def _pictures(self) -> Sequence[FigureGroup]:
        from tuner.charts import figure_groups

        return figure_groups(
            [("one", self.match.one), ("other", self.match.other)],
            {side: self.match.side(side).ratio for side in SIDES},
        )


def _target_speed(*judgements: Judgement) -> float | None:
    from tuner.charts.runs import target_speed

    return target_speed([("", judgement) for judgement in judgements])
