"""A sensor at the end of its range: flat tops, samples in a row that all read the highest or the lowest value.

Takes readings; gives shares and notes.
"""

from __future__ import annotations

import numpy as np

from tuner.estimates import Array, Estimate, Note
from tuner.signals.thin import runs_of

IN_A_ROW = 3  # equal highest readings in a row that make a flat top
NEAR = 0.05  # of the span: a smooth peak spends more samples this near its top than on it


def flat_share(values: Array) -> float:
    """Share of samples (n,) in flat tops and bottoms; 0 where the extremes are single peaks or the channel is idle."""
    span = float(np.ptp(values))
    if values.size < 20 or span == 0.0:
        return 0.0
    flat = 0
    for signed in (values, -values):
        top = float(signed.max())
        at_top = signed >= top - 1e-9 * max(abs(top), 1.0)
        lengths = np.diff(runs_of(at_top))[:, 0]
        runs = int(lengths[lengths >= IN_A_ROW].sum())
        beside = int((signed > top - NEAR * span).sum()) - int(at_top.sum())
        if runs >= IN_A_ROW and runs > 2 * beside:
            flat += runs
    return flat / values.size


def clipping(values: Array, strongest: float) -> tuple[float, tuple[Note, ...]]:
    """Share of samples in which any axis of an accelerometer rests on its limit, with a note.

    values : (n, k) [m/s**2]; strongest : readings below it are no range limit of any phone [m/s**2].
    """
    shares = [flat_share(v) for v in values.T if float(np.max(np.abs(v))) >= strongest]
    share = max(shares, default=0.0)
    if share == 0.0:
        return 0.0, ()
    limit = float(np.max(np.abs(values)))
    return share, (Note("clipped", case="phone", share=share, limit=Estimate.exact(limit, "m/s**2")),)
