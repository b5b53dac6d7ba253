"""Which pictures a result has, what each depends on, and drawing one when it is wanted or beforehand.

Takes runs and their jobs; gives groups of pictures. Uses: charts; bench, cache.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from dashboard import cache
from dashboard.bench import Held, Question, Run, Setup
from tuner import charts
from tuner.charts.runs import target_speed
from tuner.records import SIDES
from tuner.units import System

if TYPE_CHECKING:
    from tuner.jobs import CompareJob, FitJob, MatchJob

Groups = Sequence[charts.FigureGroup]


class Gallery(NamedTuple):
    """The pictures of a page: `groups` makes them in metric or US, `key` holds all that they depend on."""

    page: Question
    groups: Callable[[System], Groups]
    key: Hashable

    def drawn(self, name: str, system: System) -> Any:
        """Give the figure of that name, from the shelf where it was drawn before."""

        def draw(units: System) -> Any:
            return next(
                each.figure for group in self.groups(units) for each in group.figures if each.name == name
            )

        return cache.drawn_in(system, ("picture", name, self.key), draw)


def seen_first(group: charts.FigureGroup) -> charts.NamedFigure:
    """Give the picture of a group that is shown before the visitor chooses."""
    return group.figures[-1]


def of_change(
    runs: tuple[Run, Run], machine: Held | None, corner: str | None, job: CompareJob, look: charts.Look
) -> Gallery:
    """Give the pictures of two settings."""
    comparison = job.comparison
    before, after = (run.label for run in runs)
    judged = ((before, comparison.before), (after, comparison.after))
    changes = {side: comparison.side(side).change for side in SIDES}
    return Gallery(
        "change",
        lambda units: charts.figure_groups(judged, changes, units, target_speed(judged), look, comparison),
        (cache.asked(runs), machine, corner, before, after, look.name),
    )


def of_pair(
    runs: tuple[Run, Run],
    machine: Held | None,
    corner: str | None,
    job: MatchJob,
    look: charts.Look,
    names: tuple[str, str],
) -> Gallery:
    """Give the pictures of two dampers of those names."""
    match = job.match
    judged = ((names[0], match.one), (names[1], match.other))
    ratios = {side: match.side(side).ratio for side in SIDES}
    return Gallery(
        "pair",
        lambda units: charts.figure_groups(judged, ratios, units, target_speed(judged), look),
        (cache.asked(runs), machine, corner, names, look.name),
    )


def of_one(run: Run, machine: Held | None, corner: str | None, job: FitJob, look: charts.Look) -> Gallery:
    """Give the pictures of one setting."""
    judged = (("now", job.judgement),)
    return Gallery(
        "one",
        lambda units: charts.figure_groups(judged, None, units, target_speed(judged), look),
        (cache.asked((run,)), machine, corner, look.name),
    )


def of_setup(setup: Setup, look: charts.Look) -> Gallery:
    """Give the pictures of one or two runs as their page first shows them; raises the library's refusals."""
    from tuner.comparing import TOLERANCE

    machine, corner = setup.machine, cache.first_corner(setup)
    one, other = setup.runs[0], setup.runs[-1]
    if setup.question == "change":
        job = cache.compare_job(one, other, machine, corner)
        return of_change((one, other), machine, corner, job, look)
    if setup.question == "pair":
        match = cache.match_job(one, other, machine, corner, TOLERANCE)
        return of_pair((one, other), machine, corner, match, look, (one.label, other.label))
    return of_one(one, machine, corner, cache.fit_job(one, machine, corner), look)
