"""Where a sensor ended: values that rest on a limit.

Takes an array; gives its limits.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

FEWEST = 20  # samples below which no limit can be told
AT_LIMIT = 5  # samples on a limit at least, and as a share of all
SHARE_AT_LIMIT = 0.002


def limits_of(values: Array) -> tuple[float, float]:
    """Lowest and highest value that the sensor could show, infinite where it was not overloaded; values (n,).

    A smooth peak spends far more time near its top than on it; a clipped one does not. Near is a fiftieth of the span,
    and two steps at least where the values are written with few digits.
    """
    span = float(np.ptp(values)) if values.size else 0.0
    if span == 0.0 or values.size < FEWEST:
        return -math.inf, math.inf
    levels = np.unique(values)
    found = []
    for signed, rising in ((values, levels), (-values, -levels[::-1])):
        top = float(rising[-1])
        at_top = int((signed == top).sum())
        below = min(top - 0.02 * span, float(rising[-min(3, rising.size)]))
        near = int((signed >= below).sum()) - at_top
        rests = at_top >= AT_LIMIT and at_top > 2 * near and at_top > SHARE_AT_LIMIT * values.size
        found.append(top if rests else math.inf)
    return -found[1], found[0]
