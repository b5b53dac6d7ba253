"""What went in: files with their hashes, how they were read, what was noted, what the recordings are worth.

Takes jobs; gives `SourceSheet`s.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from tuner.records import Conditions, Provenance, conditions_given
from tuner.report.sheet import SourceSheet
from tuner.units import System, text_of
from tuner.wording import fits

if TYPE_CHECKING:
    from tuner.jobs import FitJob, MachineInput
    from tuner.reading import ReadOptions

Facts = list[tuple[str, tuple[str, ...]]]

_CONDITION: Mapping[str, tuple[str, str]] = {
    "temperature": ("temperature", "temperature"),
    "stroke": ("stroke, end to end", "length"),
    "gas_pressure": ("gas pressure", "pressure"),
    "viscosity": ("viscosity at 40 °C", "viscosity"),
    "oil_volume": ("oil volume", "volume"),
}


def run_sources(label: str, job: FitJob, system: System, mark: str = "") -> tuple[SourceSheet, ...]:
    """Give one sheet per file of a run; repeats are numbered."""
    several = len(job.readings) > 1
    sheets = []
    for number, (reading, options) in enumerate(zip(job.readings, job.options, strict=True), start=1):
        record = reading.record
        facts = _facts_of(record.provenance)
        facts += _named("read as", reading.decided)
        facts += _named("options", _options(options))
        facts += _named(
            "steps", tuple(step for step in record.provenance.history if step not in reading.decided)
        )
        facts += _named("noted", _conditions(record.conditions, system))
        facts += _named(
            "recording",
            fits.quality_points((record.quality,)) + fits.note_points(record.quality.notes, system),
        )
        name = f"{label}, repeat {number}" if several else label
        sheets.append(SourceSheet(name, record.provenance.file, tuple(facts), mark))
    return tuple(_briefer(sheet, sheets[0]) if i else sheet for i, sheet in enumerate(sheets))


def _briefer(sheet: SourceSheet, first: SourceSheet) -> SourceSheet:
    """Say of a repeat only what differs from the first one, where a fact takes several lines."""
    known = dict(first.facts)
    facts = tuple(
        (name, ("as for repeat 1",) if len(texts) > 1 and texts == known.get(name) else texts)
        for name, texts in sheet.facts
    )
    return replace(sheet, facts=facts)


def machine_source(machine_input: MachineInput | None, corner_name: str | None) -> tuple[SourceSheet, ...]:
    """Give the sheet of the machine file, nothing where there was none."""
    if machine_input is None:
        return ()
    machine = machine_input.machine
    facts: Facts = [("machine", (machine.name,))]
    facts += _named("corner", (corner_name,) if corner_name else ())
    if machine_input.provenance is None:
        return (SourceSheet("machine", machine.name, tuple(facts)),)
    facts += _facts_of(machine_input.provenance)
    return (SourceSheet("machine", machine_input.provenance.file, tuple(facts)),)


def _named(name: str, texts: tuple[str, ...]) -> Facts:
    return [(name, tuple(texts))] if texts else []


def _facts_of(provenance: Provenance) -> Facts:
    facts: Facts = _named("SHA-256", (provenance.sha256,) if provenance.sha256 else ())
    facts += _named("rows", (f"{provenance.rows}",) if provenance.rows else ())
    columns = tuple(
        f"{use.role}: column '{use.name}'" + (f" in {use.unit}" if use.unit not in ("", "1") else "")
        for use in provenance.columns
    )
    return facts + _named("columns", columns)


def _options(options: ReadOptions) -> tuple[str, ...]:
    texts = [] if options.kind is None else [f"kind {options.kind}"]
    for title, chosen in (("column", options.columns), ("unit", options.units), ("set", options.settings)):
        texts += [f"{title} {name} = {value}" for name, value in chosen.items()]
    return tuple(texts)


def _conditions(conditions: Conditions, system: System) -> tuple[str, ...]:
    texts = []
    for name, value in conditions_given(conditions).items():
        if name in _CONDITION:
            title, kind = _CONDITION[name]
            texts.append(f"{title}: {text_of(value, kind, system, digits=1)}")
        else:
            texts.append(
                f"{name.replace('_', ' ')}: {value:g}" if isinstance(value, float) else f"{name}: {value}"
            )
    return tuple(texts)
