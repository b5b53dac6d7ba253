"""The one table of kinds: every room has exactly its kinds, and what a room does follows from its row."""

from __future__ import annotations

import importlib
from dataclasses import replace
from pathlib import Path
from typing import get_args

import pytest

from tests.builders import bench_fit, sweep_fit
from tests.moving_results import bounce_fit, drive_fit, judged, jump_fit
from tuner.charts import figure_groups
from tuner.exchange import fit_rows, fit_value
from tuner.exchange.measures import MEASURES
from tuner.fitting.results import DampingFit, DriveFit, Fit, JumpFit
from tuner.kinds import KINDS, SHOWING_DAMPING, TABLE, kind_of
from tuner.records import Kind, Record
from tuner.wording import cautions_for, fit_headline, fit_sections, fit_sides, short_fit

ROOT = Path(__file__).resolve().parents[1]

# every table that a room keeps by kind: module and name
ROOMS = [
    ("tuner.fitting", "FITTERS"),
    ("tuner.wording.doubts.compared", "SHOWING"),
    ("tuner.wording.fits", "PAGES"),
    ("tuner.wording.headlines", "ASKED"),
    ("tuner.instructions", "INSTRUCTIONS"),
    ("dashboard.widgets.runs", "KIND_WORDS"),
    ("dashboard.widgets.adding_menus", "KIND_NAMES"),
    ("dashboard.views.how", "ORDER"),
    ("tuner.cli.options", "KINDS"),
]
GIVES = {"damping": DampingFit, "drive": DriveFit, "jump": JumpFit}
FITS = {
    "sweep": sweep_fit,
    "cycle": bench_fit,
    "weights": lambda: replace(bench_fit(), kind="weights"),
    "bounce": bounce_fit,
    "travel": drive_fit,
    "flight": jump_fit,
}
EVERY = pytest.mark.parametrize("row", TABLE, ids=[row.kind for row in TABLE])


@pytest.mark.parametrize(("module", "name"), ROOMS)
def test_every_room_has_exactly_the_kinds_of_the_table(module, name):
    rows = list(getattr(importlib.import_module(module), name))

    assert sorted(rows) == sorted(KINDS)


def test_the_readers_are_those_of_the_table():
    from tuner.reading import REGISTRY

    assert sorted(reader.kind for reader in REGISTRY) == sorted(KINDS)


def test_types_and_table_say_the_same():
    assert set(KINDS) == set(get_args(Kind))
    assert {row.record for row in TABLE} == set(get_args(Record))
    assert {GIVES[row.shows] for row in TABLE} == set(get_args(Fit)) == set(MEASURES)
    assert len(set(KINDS)) == len(KINDS)


@EVERY
def test_a_fitter_exists_and_gives_the_type_of_its_row(row):
    """Fitters are named in words, so that none is loaded before it is needed."""
    from tuner.fitting import FITTERS

    module, function = FITTERS[row.kind]
    fitter = getattr(importlib.import_module(module), function)

    assert fitter.__annotations__["return"] == GIVES[row.shows].__name__


@EVERY
def test_every_kind_goes_through_every_room(row):
    """Words, table, JSON, rows and a picture of one fit of each kind."""
    fit = FITS[row.kind]()
    judgement = judged(fit)

    assert isinstance(fit, GIVES[row.shows])
    assert fit.kind == row.kind
    assert fit_headline(judgement).sentence
    assert short_fit(judgement, "metric")
    assert fit_sides(judgement).rows
    assert len(fit_sections(judgement, "metric")) >= 2
    assert fit_value(judgement, ())["kind"] == row.kind
    assert fit_rows(judgement)
    assert figure_groups([("this test", judgement)], None)
    assert cautions_for([row.kind])
    assert (ROOT / "tuner" / "instructions" / "drawings" / f"{row.kind}.svg").is_file()


@EVERY
def test_only_kinds_that_show_damping_have_seen_sides(row):
    fit = FITS[row.kind]()

    assert (fit.compression.seen or fit.rebound.seen) is (row.kind in SHOWING_DAMPING)


@EVERY
def test_the_kind_of_a_record_is_that_of_its_row(row):
    blank = object.__new__(row.record)

    assert kind_of(blank) == row.kind
