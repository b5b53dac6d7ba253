"""The facts of a note as they are read in a sentence: units of `system`, digits as the sentence asks for them.

Takes facts and a format; gives text.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from tuner.estimates import Estimate, Note
from tuner.units import SHOWN, System, from_si
from tuner.wording import figures


@dataclass(frozen=True, slots=True)
class Said:
    """The facts of one note: raw by their name, or put into a template by calling it.

    A template is that of `str.format`. An estimate without a format comes with its interval and unit, with one it is
    the value alone in the shown unit and its label (``{speed:.2f}`` -> ``0.26 m/s``), after ``~`` without the label;
    the format is that of the metric number, US ones are as fine. ``%`` at the end of a format writes a share
    (``{share:.0f%}`` -> ``5 %``). Members of a tuple are joined by commas, the label once; after ``&`` by "and" and
    after ``;`` by that, each with its label. ``k`` marks a key of the machine file.
    """

    facts: Mapping[str, Any]
    system: System
    words: Callable[[Note], str]  # the sentence of a note among the facts
    plain: bool = False  # keys of the machine file in plain words: sprung_mass -> sprung mass

    def __getitem__(self, name: str) -> Any:
        return self.facts[name]

    def __contains__(self, name: str) -> bool:
        return name in self.facts

    def __call__(self, template: str, **more: Any) -> str:
        """Put the facts, and more of them, into a template."""
        facts = {**self.facts, **more}
        if self.plain:
            template = re.sub(r"(\{.*?\})|_", lambda found: found[1] or " ", template)
        return template.format_map({name: _Shown(fact, self) for name, fact in facts.items()})

    def shown(self, fact: Any, spec: str) -> str:
        """Write one fact."""
        if isinstance(fact, tuple):
            return self._joined(fact, spec)
        if isinstance(fact, Note):
            return self.words(fact)
        if isinstance(fact, str):
            return fact.replace("_", " ") if self.plain and spec == "k" else fact
        if isinstance(fact, Estimate) and fact.unit != "1":
            return self._quantity(fact, spec) if spec else figures.amount(fact, system=self.system)
        number = fact.value if isinstance(fact, Estimate) else fact
        return f"{100.0 * number:{spec[:-1]}} %" if spec.endswith("%") else format(number, spec)

    def _joined(self, facts: tuple[Any, ...], spec: str) -> str:
        for mark, joint in (("&", " and "), (";", "; ")):
            if spec.startswith(mark):
                return joint.join(self.shown(fact, spec[1:]) for fact in facts)
        if spec.startswith("~") or not (facts and isinstance(facts[0], Estimate)):
            return ", ".join(self.shown(fact, spec) for fact in facts)
        return ", ".join(
            [*(self.shown(fact, f"~{spec}") for fact in facts[:-1]), self.shown(facts[-1], spec)]
        )

    def _quantity(self, fact: Estimate, spec: str) -> str:
        kind = figures.kind_of(fact)
        digits = spec.lstrip("~")
        if kind is None:
            number, label = format(fact.value, digits), fact.unit
        else:
            style = SHOWN[self.system][kind]
            value, label = float(from_si(fact.value, kind, style.unit)), style.label
            number = format(value, _digits(digits, kind, style.unit, value))
        return number if spec.startswith("~") or not label else f"{number} {label}"


def _digits(spec: str, kind: str, unit: str, value: float) -> str:
    """Give the format of a number in `unit` that is as fine as `spec` in the metric one, with three figures at most."""
    metric = SHOWN["metric"][kind].unit
    if unit == metric:
        return spec
    if not spec.endswith("f"):
        return ".0f" if abs(value) >= 1000.0 else ".3g"
    steps = [float(from_si(1.0, kind, name) - from_si(0.0, kind, name)) for name in (unit, metric)]
    fine = math.ceil(float(spec.strip(".f")) - math.log10(steps[0] / steps[1]) - 0.05)
    figures_3 = 2 - math.floor(math.log10(abs(value))) if value else fine
    return f".{max(min(fine, figures_3), 0)}f"


@dataclass(frozen=True, slots=True, repr=False)
class _Shown:
    """A fact in a template."""

    fact: Any
    said: Said

    def __format__(self, spec: str) -> str:
        return self.said.shown(self.fact, spec)

    def __repr__(self) -> str:
        return repr(self.fact)

    @property
    def low(self) -> _Shown:
        """The lower end of an estimate."""
        return _Shown(Estimate.exact(self.fact.low, self.fact.unit), self.said)

    @property
    def high(self) -> _Shown:
        """The upper end of an estimate."""
        return _Shown(Estimate.exact(self.fact.high, self.fact.unit), self.said)
