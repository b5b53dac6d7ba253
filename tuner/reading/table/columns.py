"""Which column plays which role, and in which unit it stands: settled, or refused with the choices.

Takes a `Sheet` and the options; gives a `Source` from which a record kind takes its columns in SI.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from tuner.errors import ReadError, UnitError, UsageError
from tuner.estimates import Array, Note
from tuner.names import find_name, nearest_hint
from tuner.reading.table.heading import Heading, heading, tokens_of
from tuner.reading.table.options import ReadOptions
from tuner.reading.table.positive import positive_side
from tuner.reading.table.words import COMPRESSION, FILLERS, OTHERS, PEAK, REBOUND, ROLES, STATES, UNUSED
from tuner.reading.text.tables import Column, Sheet, Table
from tuner.records import ColumnUse, Provenance
from tuner.units import SHOWN, SI_UNIT, to_si

FAR = 1e6  # s: a time that begins later than this counts from another day
_SIDED = {f"{side}_{base}" for side in ("compression", "rebound") for base in ("force", "velocity")}


_NO_SCORE = (0.0, 0, 0)


@dataclass(frozen=True, slots=True)
class Matched:
    """Roles that columns of one table can play, by index of the column.

    ambiguous : roles for which several columns are equally good. other_unit : roles whose only column carries a
    unit of another kind.
    """

    roles: Mapping[str, int]
    ambiguous: Mapping[str, tuple[int, ...]]
    other_unit: Mapping[str, int]
    headings: tuple[Heading, ...]

    def has(self, *roles: str) -> bool:
        """Say whether a column for each role is there, be it an ambiguous one."""
        return all(r in self.roles or r in self.ambiguous for r in roles)


def _of_side(found: Heading, role: str, roles: Sequence[str]) -> bool:
    """Say whether the side that a heading names, or names not, lets it play the role."""
    if ROLES[role].side:
        return found.side == ROLES[role].side
    return not found.side or not any(r in _SIDED and r.endswith(role) for r in roles)


def _score(found: Heading, role: str, roles: Sequence[str]) -> tuple[float, int, int]:
    """Score a heading for a role: (share of its words that the role explains, words explained, last place)."""
    wanted = ROLES[role]
    if not _of_side(found, role, roles):
        return _NO_SCORE
    tokens = found.tokens
    if wanted.kind != "words":
        tokens = tokens - COMPRESSION - REBOUND or tokens
    words = tokens - FILLERS or tokens
    bare = words - COMPRESSION - REBOUND
    if wanted.side and not bare - PEAK:
        return (1.0, 1, 0) if role.endswith("_force") or "speed" in found.units else _NO_SCORE
    if role == "travel" and not bare and "length" in found.units:
        return (1.0, 1, 0)  # "Compression (mm)"
    return max((_explained(found, phrase, tokens, words) for phrase in wanted.words), default=_NO_SCORE)


def _explained(
    found: Heading, phrase: str, tokens: frozenset[str], words: frozenset[str]
) -> tuple[float, int, int]:
    """Score one phrase of a role: nothing where a word is missing, or another one changes what it means."""
    parts = frozenset(phrase.split())
    others = words - parts
    if not parts <= tokens or others & (OTHERS | UNUSED) or (len(phrase) == 1 and others):
        return _NO_SCORE
    place = max(i for i, t in enumerate(found.order) if t in parts)
    return len(parts) / len(words | parts), len(parts), place


def _unit_fits(found: Heading, role: str) -> bool:
    kind = ROLES[role].kind
    if kind not in SI_UNIT or not found.unit_text:
        return True
    return kind in found.units


def _named(table: Table, role: str, name: str) -> int:
    """Find the column that was named: as the file writes it, by its number, or by its words without unit."""
    names = [n.strip() for n in table.names]
    numbers = [f"column {i + 1}" for i in range(len(names))]
    bare = [" ".join(heading(n).order) for n in names]
    for wanted, known in (
        (name, names),
        (name.lower().replace("column", "column "), numbers),
        (_bare(name), bare),
    ):
        hits = find_name(wanted, known) if wanted else ()
        if len(hits) == 1:
            return hits[0]
        if hits:
            raise UsageError(
                f"--column {role}: {len(hits)} columns are called {name!r}",
                hint=f"Write one of {', '.join(repr(names[i]) for i in hits)} exactly, or 'column {hits[0] + 1}'.",
            )
    raise UsageError(f"--column {role}: no column is called {name!r}", hint=nearest_hint(name, names))


def _bare(name: str) -> str:
    return " ".join(tokens_of(name))


def match(table: Table, roles: Sequence[str], options: ReadOptions) -> Matched:
    """Find for each role the column whose name says so.

    A name that is nothing but the role's word goes before one with other words in it; two equally good columns
    are kept as ambiguous. Raises UsageError when ``--column`` names a column that is not there.
    """
    headings = tuple(heading(n, u) for n, u in zip(table.names, table.units, strict=True))
    if len({h.side for h in headings if h.side}) == 1:  # "force (compression positive)" is of both sides
        headings = tuple(replace(h, side="") if positive_side(h.text) else h for h in headings)
    chosen = {r: _named(table, r, n) for r, n in options.columns.items() if r in roles}
    open_roles = [r for r in roles if r not in chosen]
    candidates: dict[str, list[tuple[float, int]]] = {}
    other_unit: dict[str, int] = {}
    for i, found in enumerate(headings):
        if i in chosen.values() or not table.named:
            continue
        scores = {r: s for r in open_roles if (s := _score(found, r, roles))[0] > 0}
        fitting = {r: s for r, s in scores.items() if _unit_fits(found, r)}
        for role in scores.keys() - fitting.keys():
            other_unit.setdefault(role, i)
        if fitting:
            role = max(fitting, key=lambda r: fitting[r])
            candidates.setdefault(role, []).append((fitting[role][0], i))
    best = {role: _best(found_columns) for role, found_columns in candidates.items()}
    chosen |= {role: top[0] for role, top in best.items() if len(top) == 1}
    ambiguous = {role: top for role, top in best.items() if len(top) > 1}
    return Matched(chosen, ambiguous, {r: i for r, i in other_unit.items() if r not in chosen}, headings)


def _best(candidates: Sequence[tuple[float, int]]) -> tuple[int, ...]:
    """Give the columns with the highest score."""
    highest = max(score for score, _ in candidates)
    return tuple(i for score, i in candidates if score == highest)


@dataclass(frozen=True, slots=True, eq=False)
class Source:
    """A file on its way to a record: its sheet, its matched columns, and the options.

    decided : the notes of this reading, one sentence each, written down while the file is read.
    """

    name: str
    sha256: str
    sheet: Sheet
    matched: Matched
    options: ReadOptions
    decided: list[str] = field(default_factory=list)
    settled: dict[str, str] = field(default_factory=dict)  # role -> unit that the record itself showed

    @property
    def title(self) -> tuple[str, ...]:
        """Title lines and comments of the file."""
        return tuple(text for _, text in self.sheet.title)

    def has(self, *roles: str) -> bool:
        """Say whether there is a column for each of these roles."""
        return self.matched.has(*roles)

    def refuse(self, needed: str, found: str, hint: str = "") -> ReadError:
        """Make the refusal of this file."""
        return ReadError(f"{self.name} {needed}; {found}", hint=hint)

    def index(self, role: str) -> int:
        """Give the index of the column for that role; raises ReadError when there is none, or several."""
        names = self.sheet.table.names
        if role in self.matched.ambiguous:
            choices = " or ".join(repr(names[i]) for i in self.matched.ambiguous[role])
            raise self.refuse(
                f"must say which column is the {ROLES[role].meaning}",
                f"it can be {choices}",
                f"Choose with --column {role}=NAME.",
            )
        if role in self.matched.roles:
            return self.matched.roles[role]
        if role in self.matched.other_unit:
            i = self.matched.other_unit[role]
            raise UnitError(
                f"{self.name}: column {names[i]!r} needs a unit of {ROLES[role].kind} to be the "
                f"{ROLES[role].meaning}; got {self.matched.headings[i].unit_text!r}",
                hint=f"Choose another column with --column {role}=NAME, or say --unit {role}=UNIT.",
            )
        raise self.refuse(
            f"needs a column with the {ROLES[role].meaning}",
            f"found the columns {', '.join(repr(n) for n in names)}",
            f"Choose with --column {role}=NAME.",
        )

    def use(self, role: str) -> ColumnUse:
        """Give name and unit of the column for that role; raises ReadError or UnitError when one is open."""
        i = self.index(role)
        kind, name = ROLES[role].kind, self.sheet.table.names[i]
        found = self.matched.headings[i]
        if kind not in SI_UNIT:
            return ColumnUse(role, name, "")
        if role in self.options.units:
            return ColumnUse(role, name, self.options.units[role])
        if found.other_unit:
            raise UnitError(
                f"{self.name}: column {name!r} needs one unit; its name says {found.other_unit!r}, "
                f"the row of units {found.unit_text!r}",
                hint=f"Say which one is right with --unit {role}=UNIT.",
            )
        if self.sheet.table.columns[i].stamps and kind == "time":
            return ColumnUse(role, name, "s")
        if found.unit(kind):
            return ColumnUse(role, name, found.unit(kind))
        if role in self.settled:
            return ColumnUse(role, name, self.settled[role])
        if found.unit_text:
            raise UnitError(
                f"{self.name}: column {name!r} needs a unit of {kind}; got {found.unit_text!r}",
                hint=f"Choose another column with --column {role}=NAME, or say --unit {role}=UNIT.",
            )
        if self.sheet.assume_si:
            return ColumnUse(role, name, SI_UNIT[kind])
        units = " or ".join(dict.fromkeys(SHOWN[s][kind].unit for s in ("metric", "us")))
        raise UnitError(
            f"{self.name}: column {name!r} needs a unit of {kind}; the file names none",
            hint=f"Say it with --unit {role}=UNIT, for example {units}.",
        )

    def column(self, role: str, table: Table) -> Column:
        """Give the bare column of one block; raises ReadError when one of its cells could not be read."""
        column = table.columns[self.index(role)]
        if column.unread is not None:
            raise column.unread
        return column

    def values(self, role: str, table: Table) -> Array:
        """Give the column of one block in SI, NaN where missing."""
        use = self.use(role)
        column = self.column(role, table)
        if column.is_words:
            row = next((r for r in range(len(column)) if column.word(r)), 0)
            raise self.refuse(
                f"needs numbers in column {use.name!r}",
                f"line {table.line(row)} holds {column.word(row)[:40]!r}",
            )
        if ROLES[role].kind not in SI_UNIT:
            return column.numbers
        if column.stamps and ROLES[role].kind != "time":
            raise self.refuse(f"needs numbers in column {use.name!r}", "it holds time stamps")
        return to_si(column.numbers, ROLES[role].kind, use.unit, name=f"column {use.name!r}")

    def epoch(self) -> float:
        """Give the first time [s] where the clock counts from far away (a date), else 0."""
        times = self.values("time", self.sheet.table)
        first = float(times[np.isfinite(times)][0]) if np.isfinite(times).any() else 0.0
        return first if abs(first) > FAR else 0.0

    def provenance(self, roles: Sequence[str], read: str, rate: float | None = None) -> Provenance:
        """Give where a record comes from: columns of these roles, what was decided, not used, and `read` in the end."""
        played = [r for r in roles if r in self.matched.roles]
        used = {self.matched.roles[r] for r in played}
        names = [repr(n) for i, n in enumerate(self.sheet.table.names) if i not in used and n]
        if names:
            self.decided.append(f"not used: {', '.join(names)}")
        uses = tuple(self.use(r) for r in played)
        return Provenance(
            self.name, self.sha256, self.sheet.rows, uses, rate, (*self.decided, read), self.title
        )


def mixed_rows(source: Source, table: Table, roles: Sequence[str]) -> list[Note]:
    """Note columns of no role that tell dampers or settings apart, so that rows of several are not mixed unseen."""
    used = {source.matched.roles[r] for r in roles if r in source.matched.roles}
    notes = []
    for i, column in enumerate(table.columns):
        if i in used:
            continue
        if column.is_words:
            count = len(set(np.asarray(column.codes)[np.asarray(column.codes) >= 0].tolist()))
        elif source.matched.headings[i].tokens & STATES:
            count = int(np.unique(column.numbers[np.isfinite(column.numbers)]).size)
        else:
            continue
        if 2 <= count <= max(2, table.rows // 2):
            notes.append(Note("mixed-rows", column=table.names[i], entries=count))
    return notes
