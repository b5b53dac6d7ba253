"""Which parts of the recordings are fitted: the ring-downs of all files, mended when the fit objects.

Takes records and verdicts; gives cuts and the problem made of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tuner.errors import FitError
from tuner.fitting.bounce.known import starts_of
from tuner.fitting.bounce.problem import Knowledge, Problem
from tuner.fitting.bounce.trial import FREE_ENOUGH, Verdict, roughness
from tuner.records import BounceRecord
from tuner.signals.bounces import SHORTEST, Bounce, find_bounces

HIGHEST_RATE = 420.0  # [Hz] faster recordings are averaged down
ROUGH_FLOOR = 0.01  # of a bounce's range: no first weight claims to know more
FAR_BEHIND = 0.15  # a bounce that is explained so much worse than the best one is left out
LATER = 0.03  # kept away from a misfit [s]


@dataclass(frozen=True, slots=True)
class Cuts:
    """The ring-downs in use, the file of each, what was left out (file, time, reason), and doubtful fits."""

    bounces: tuple[Bounce, ...]
    file: tuple[int, ...]
    left_out: tuple[tuple[int, float, str], ...]
    doubtful: tuple[float, ...] = ()
    mendings: int = 0

    @property
    def untouched(self) -> bool:
        """Whether the fit took every ring-down as it was found."""
        return self.mendings == 0 and not self.doubtful

    def mended(self, judged: Sequence[Verdict], records: Sequence[BounceRecord]) -> Cuts | None:
        """Start later or end sooner where hands seem to have been on, drop what fits worse than others; None: fine."""
        if all(verdict.sound for verdict in judged):
            return None
        some_sound = any(verdict.sound for verdict in judged)
        best = max(verdict.explained for verdict in judged)
        bounces: list[Bounce] = []
        files: list[int] = []
        gone = list(self.left_out)
        changed = False
        for bounce, file, verdict in zip(self.bounces, self.file, judged, strict=True):
            time = records[file].time
            shorter = bounce
            begin = float(time[bounce.first])
            if verdict.better_shorter:
                end = begin + verdict.misfit_from - LATER
                shorter = replace(bounce, last=int(np.searchsorted(time, end)))
            elif verdict.better_later:
                start = begin + verdict.misfit_until + LATER
                shorter = replace(bounce, first=int(np.searchsorted(time, start)))
            long_enough = (
                float(time[shorter.last - 1] - time[min(shorter.first, shorter.last - 1)]) >= SHORTEST
            )
            if verdict.sound:
                bounces.append(bounce)
                files.append(file)
            elif shorter is not bounce and long_enough:
                bounces.append(shorter)
                files.append(file)
                changed = True
            elif some_sound or verdict.explained < best - FAR_BEHIND:
                reason = "it does not move like the others: hands still on, or something else moved"
                gone.append((file, bounce.release, reason))
                changed = True
            else:
                bounces.append(bounce)
                files.append(file)
        return Cuts(tuple(bounces), tuple(files), tuple(gone), (), self.mendings + 1) if changed else None

    def with_doubts(self, judged: Sequence[Verdict]) -> Cuts:
        """Refuse when hardly anything is explained; else remember what fits badly.

        Raises FitError.
        """
        best = max(verdict.explained for verdict in judged)
        if best < FREE_ENOUGH:
            raise FitError(
                f"the recording must ring down like a body on a spring; at best {100 * max(best, 0.0):.0f} % of a "
                "bounce's motion can be explained so",
                hint="Hands off after the release, engine off, the phone fixed over the axle; then push and let go "
                "three to six times.",
            )
        bad = tuple(v.explained for v in judged if not v.sound)
        return replace(self, doubtful=bad)


def find_cuts(records: Sequence[BounceRecord]) -> Cuts:
    """Find the ring-downs of all files; raises FitError when there is none."""
    bounces: list[Bounce] = []
    files: list[int] = []
    left: list[tuple[int, float, str]] = []
    for k, record in enumerate(records):
        seen = find_bounces(record.time, record.signal, record.quantity)
        bounces += seen.used
        files += [k] * len(seen.used)
        left += [(k, gone.time, gone.reason) for gone in seen.left_out]
    if not bounces:
        why = f"; {left[0][2]}" if left else ""
        raise FitError(
            f"the recording must hold at least one bounce that rings down freely; none was found{why}",
            hint="Stand still, push the end down and let go, hands off until it is quiet; three to six times.",
        )
    return Cuts(tuple(bounces), tuple(files), tuple(left))


def problem_of(records: Sequence[BounceRecord], cuts: Cuts, ratio: float, knowledge: Knowledge) -> Problem:
    """Stack the ring-downs; travel is taken to the wheel with the motion `ratio`."""
    scale = ratio if records[0].quantity == "travel" else 1.0
    rows = []
    for bounce, file in zip(cuts.bounces, cuts.file, strict=True):
        record = records[file]
        part = slice(bounce.first, bounce.last)
        rows.append(_averaged(record.time[part] - record.time[bounce.first], record.signal[part] / scale))
    shape = (len(rows), max(len(time) for time, _ in rows))
    time, value, weight = np.zeros(shape), np.zeros(shape), np.zeros(shape)
    for k, (t, v) in enumerate(rows):
        n = len(t)
        time[k, :n], time[k, n:] = t, t[-1]
        value[k, :n] = v
        weight[k, :n] = 1.0 / max(roughness(v), ROUGH_FLOOR * float(np.ptp(v))) ** 2
    strength = np.array([bounce.strength for bounce in cuts.bounces]) / scale
    centre, sd = starts_of(knowledge, strength, records[0].quantity)
    return Problem(time, value, weight, np.array(cuts.file), centre, sd, records[0].quantity, knowledge)


def _averaged(time: np.ndarray, value: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    fold = max(1, round(1.0 / (HIGHEST_RATE * float(np.median(np.diff(time))))))
    n = len(time) // fold * fold
    if fold == 1 or n == 0:
        return time, value
    return time[:n].reshape(-1, fold).mean(axis=1), value[:n].reshape(-1, fold).mean(axis=1)
