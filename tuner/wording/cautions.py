"""The short cautions, each shown once where its step is.

Takes what was tested and what stands next; gives texts.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from tuner.records import Kind

CAUTIONS: Mapping[str, str] = {
    "stored-energy": (
        "Gas-charged dampers and compressed springs store enough energy to kill. Release pressure and "
        "springs only with the proper tools, or leave it to a licensed workshop; never open a damper under "
        "pressure, never heat it."
    ),
    "hung-weights": (
        "What hangs or stands on a jack falls without warning: stands under it, hands and feet out, "
        "a second person beside you."
    ),
    "not-a-safe-jump": (
        "A better number is not a safe jump. Start low and slow, helmet and harness on, nobody in the "
        "landing zone; follow the local rules for vehicles and tracks, and have structural and road-legal "
        "work checked by licensed people."
    ),
    "used-oil": "Collect used oil and hand it in as local rules say.",
}


_BRIEFLY: Mapping[str, str] = {
    "stored-energy": "Gas and springs can kill: never open a damper under pressure, never heat it.",
    "hung-weights": "What is lifted or hung can fall: put it on stands, keep hands and feet out.",
    "not-a-safe-jump": "A better number is not a safe jump: start low and slow, nobody in the landing zone.",
}


def caution_line(kinds: Iterable[Kind], *, after_change: bool = False) -> str:
    """Give the one caution that matters most after these kinds of test; "" where nothing was tested."""
    tested = set(kinds)
    if tested and tested <= {"travel", "flight"}:
        return _BRIEFLY["not-a-safe-jump"]
    if tested == {"bounce"} and not after_change:
        return _BRIEFLY["hung-weights"]
    return _BRIEFLY["stored-energy"] if tested else ""


def cautions_for(kinds: Iterable[Kind], *, after_change: bool = False) -> tuple[str, ...]:
    """Give the cautions that belong to these kinds of test and, with `after_change`, to a changed damper."""
    tested = set(kinds)
    codes = []
    if tested & {"weights", "bounce"}:
        codes.append("hung-weights")
    if after_change:
        codes += ["stored-energy", "used-oil", "not-a-safe-jump"]
    elif tested & {"sweep", "cycle", "weights"}:
        codes.append("stored-energy")
    elif tested & {"travel", "flight"}:
        codes.append("not-a-safe-jump")
    return tuple(CAUTIONS[code] for code in codes)
