"""The kinds of test: one row each, from which every room takes what it does with that kind.

Takes nothing; gives `TABLE`, what follows from it, and the kind of a record.

A new kind is a record type and a row here, and a row in every room that keeps a table by kind: reader, fitter, what
would show a side that it does not show, words, instruction, pages. A test names the rooms that lack it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal, NamedTuple

from tuner.records import (
    BounceRecord,
    CycleRecord,
    FlightRecord,
    Kind,
    Record,
    SweepRecord,
    TravelRecord,
    WeightsRecord,
)

Shows = Literal["damping", "drive", "jump"]


class KindRow(NamedTuple):
    """One kind of test.

    record : its type of record. name : what it is called in a sentence. shows : which type of fit it gives.
    on_a_bench : the damper is mounted on a rig. with_corner : what is known of the corner goes into the fit itself.
    together : all recordings of one setting share one fit.
    """

    kind: Kind
    record: type[Record]
    name: str
    shows: Shows
    on_a_bench: bool = False
    with_corner: bool = False
    together: bool = False


TABLE: tuple[KindRow, ...] = (
    KindRow("sweep", SweepRecord, "bench sweep", "damping", on_a_bench=True),
    KindRow("cycle", CycleRecord, "bench cycle", "damping", on_a_bench=True),
    KindRow("weights", WeightsRecord, "hung-weight table", "damping", on_a_bench=True),
    KindRow("bounce", BounceRecord, "bounce", "damping", with_corner=True, together=True),
    KindRow("travel", TravelRecord, "driving trace", "drive", with_corner=True),
    KindRow("flight", FlightRecord, "flight", "jump"),
)

KINDS: tuple[Kind, ...] = tuple(row.kind for row in TABLE)
KIND_OF: Mapping[type, Kind] = {row.record: row.kind for row in TABLE}
NAMES: Mapping[Kind, str] = {row.kind: row.name for row in TABLE}
ON_A_BENCH = frozenset(row.kind for row in TABLE if row.on_a_bench)
WITH_CORNER = frozenset(row.kind for row in TABLE if row.with_corner)
TOGETHER = frozenset(row.kind for row in TABLE if row.together)
SHOWING_DAMPING = frozenset(row.kind for row in TABLE if row.shows == "damping")


def kind_of(record: Record) -> Kind:
    """Name the kind of a record."""
    return KIND_OF[type(record)]
