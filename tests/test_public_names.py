"""The names a notebook may rely on, and what loading them costs."""

from __future__ import annotations

import ast
import sys
from pathlib import Path

import tuner

PINNED = [
    "CompareResult",
    "Estimate",
    "FitResult",
    "InputRefused",
    "MatchResult",
    "Note",
    "ReadOptions",
    "TunerError",
    "compare",
    "fit",
    "match",
    "read_file",
    "read_machine",
    "read_machine_file",
    "read_values",
]


def test_the_public_names_are_the_pinned_ones():
    assert sorted(tuner.__all__) == PINNED
    assert set(dir(tuner)) == {*PINNED, "__version__"}


def test_every_public_name_loads_and_keeps_its_name():
    for name in PINNED:
        assert getattr(tuner, name).__name__ == name


def test_type_checkers_see_the_same_names_in_the_same_homes():
    """The block for type checkers and the table for loading say the same."""
    tree = ast.parse(Path(tuner.__file__).read_text(encoding="utf-8"))
    block = next(node for node in tree.body if isinstance(node, ast.If))
    seen = {
        alias.name: node.module
        for node in block.body
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
    }

    assert seen == tuner._HOME


def test_an_unknown_name_is_an_attribute_error():
    assert not hasattr(tuner, "no_such_name")


def test_import_loads_nothing_numeric(fresh):
    """Neither the package nor its list of commands loads a numeric library."""
    heavy = ("numpy", "pandas", "scipy", "pint", "plotly", "pyarrow", "jinja2")
    script = (
        "import sys, tuner, tuner.cli; tuner.cli.run(['--help']);"
        f"print([name for name in {heavy!r} if name in sys.modules], file=sys.stderr)"
    )

    assert fresh([sys.executable, "-c", script]).err.strip() == "[]"
