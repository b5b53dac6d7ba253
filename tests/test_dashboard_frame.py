"""The dashboard's frame held to its rules: thin views, one owner of the session, nothing of the library's work."""

from __future__ import annotations

import ast
import re
import tomllib
from pathlib import Path

import pytest

from dashboard.markdown import plain
from dashboard.messages import in_menus
from dashboard.routes import PAGES, START

ROOT = Path(__file__).resolve().parents[1]
HOME = ROOT / "dashboard"
VIEWS = sorted((HOME / "views").glob("*.py"))
WIDGETS = sorted((HOME / "widgets").glob("*.py"))
EVERY = sorted(HOME.rglob("*.py"))
MOST_LINES = 200

# what may import what, upward; modules of one line do not import each other, widgets and views among themselves may
LAYERS = (
    ("routes", "session", "markdown", "pool", "middleware"),
    ("progress",),
    ("cache",),
    ("examples",),
    ("prefetch", "state"),
    ("theme", "messages"),
    ("widgets",),
    ("views",),
    ("router",),
    ("app", "launch"),
    ("__main__",),
)
HEIGHT = {name: height for height, names in enumerate(LAYERS) for name in names}

# rooms of the library that compute or read; a view asks `cache` for their results
COMPUTING = (
    "tuner.fitting",
    "tuner.judging",
    "tuner.signals",
    "tuner.laws",
    "numpy",
    "scipy",
    "pandas",
    "pint",
)


def imported(source: str) -> list[str]:
    """Dotted names of everything imported, wherever it stands, without what is only for type checking."""
    found: list[str] = []

    def walk(node: ast.AST) -> None:
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.dump(node.test):
            return
        if isinstance(node, ast.Import):
            found.extend(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            found.extend(f"{node.module}.{alias.name}" for alias in node.names)
        for child in ast.iter_child_nodes(node):
            walk(child)

    walk(ast.parse(source))
    return found


def computing(source: str) -> list[str]:
    return [name for name in imported(source) if any(f"{name}.".startswith(f"{room}.") for room in COMPUTING)]


def session_uses(source: str) -> list[int]:
    """Lines that touch streamlit's session or address."""
    return [
        node.lineno
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.Attribute)
        and node.attr in ("session_state", "query_params")
        and ast.unparse(node.value) in ("st", "streamlit")
    ]


def decimals(source: str) -> list[float]:
    """Numbers with a point: thresholds, factors, conversions."""
    return [
        node.value
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.Constant) and isinstance(node.value, float)
    ]


def layer(path: Path) -> str:
    return path.relative_to(HOME).with_suffix("").parts[0]


def upward(name: str, source: str) -> list[str]:
    """Imports of our own that point up or sideways."""
    home = "widgets", "views"
    found = []
    for each in imported(source):
        parts = each.split(".")
        used = parts[1] if parts[0] == "dashboard" and len(parts) > 1 else None
        if used is not None and HEIGHT[used] >= HEIGHT[name] and not used == name in home:
            found.append(each)
    return found


@pytest.mark.parametrize("path", EVERY, ids=lambda path: str(path.relative_to(HOME)))
def test_arrows_inside_point_down(path):
    if path != HOME / "__init__.py":
        assert upward(layer(path), path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize("path", EVERY, ids=lambda path: str(path.relative_to(HOME)))
def test_only_the_open_face_of_the_framework_is_used(path):
    assert inner_parts(path.read_text(encoding="utf-8")) == []


def inner_parts(source: str) -> list[str]:
    """What is used of the framework beyond `import streamlit as st` and public names of `st`."""
    imports = [name for name in imported(source) if name.startswith("streamlit") and name != "streamlit"]
    private = [
        ast.unparse(node)
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.Attribute)
        and ((node.attr.startswith("_") and node.attr != "__file__") or node.attr == "runtime")
        and ast.unparse(node.value).split(".")[0] in ("st", "streamlit")
    ]
    return imports + private


@pytest.mark.parametrize("path", VIEWS, ids=lambda path: path.name)
def test_a_view_computes_nothing(path):
    source = path.read_text(encoding="utf-8")

    assert computing(source) == []
    assert decimals(source) == []
    assert len(source.splitlines()) <= MOST_LINES


@pytest.mark.parametrize("path", WIDGETS, ids=lambda path: path.name)
def test_a_widget_computes_nothing(path):
    assert computing(path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize("path", EVERY, ids=lambda path: str(path.relative_to(HOME)))
def test_the_session_has_one_owner(path):
    if path.name != "state.py":
        assert session_uses(path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize("path", EVERY, ids=lambda path: str(path.relative_to(HOME)))
def test_no_text_is_let_through_as_it_is(path):
    """Nobody switches the escaping off, and widgets that keep a value have a key of the house."""
    source = path.read_text(encoding="utf-8")

    assert "unsafe_allow_html=True" not in source
    assert "unsafe_allow_javascript=True" not in source


def test_the_checks_can_fail():
    assert computing("def f():\n    import numpy as np") == ["numpy"]
    assert computing("from tuner.fitting import fit") == ["tuner.fitting.fit"]
    assert session_uses("st.session_state['x'] = 1") == [1]
    assert decimals("if x > 0.5: pass") == [0.5]
    assert upward("cache", "from dashboard import state") == ["dashboard.state"]
    assert upward("cache", "from dashboard import pool") == []
    assert inner_parts("from streamlit.runtime.scriptrunner import get_script_run_ctx") != []
    assert inner_parts("import streamlit as st\nst._main.write(st.__file__)") == ["st._main"]


def test_every_page_has_its_file_and_every_file_its_page():
    assert {file for file, _ in PAGES.values()} == {path.name for path in VIEWS}
    assert next(iter(PAGES)) == START


def test_colours_come_from_the_look():
    """The style sheets name no colour of their own."""
    for sheet in HOME.glob("*.css"):
        assert re.findall(r"#[0-9a-fA-F]{3,8}\b|rgba?\(", sheet.read_text(encoding="utf-8")) == [], sheet.name


def test_what_the_application_needs_is_packaged():
    packaged = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["setuptools"]
    patterns = packaged["package-data"]["dashboard"]
    loose = [
        path.relative_to(HOME)
        for path in HOME.rglob("*")
        if path.is_file() and path.suffix in (".css", ".png", ".svg") and "pictures" not in path.parts
    ]

    assert loose
    assert [str(path) for path in loose if not any(path.match(pattern) for pattern in patterns)] == []


@pytest.mark.parametrize(
    ("hint", "said"),
    [
        ("Say it with --unit velocity=UNIT.", "Say it with the unit of 'shaft speed'"),
        ("Say it with --unit force=lbf.", "Say it with lbf as the unit of 'force between the ends'"),
        ("Choose with --column travel=NAME.", "Choose with the column of 'shaft travel'"),
        ("If it is a jump, say --kind flight.", "If it is a jump, say that it is a flight"),
        ("Say --set positive_travel=rebound.", "Say positive travel = rebound"),
        ("Check the columns (--column ROLE=NAME).", "Check the columns (what each column is)"),
    ],
)
def test_a_hint_for_the_command_line_names_the_menus(hint, said):
    assert in_menus(hint) == f"{said}; the menus are under 'Say what it is'."
    assert in_menus("Check the export.") == "Check the export."


@pytest.mark.parametrize(
    ("text", "written"),
    [
        ("Dune Hopper No. 4", "Dune Hopper No. 4"),  # a screen reader would say a backslash
        ("www.example.org", r"www\.example\.org"),
        ("1. gear", r"1\. gear"),
        ("**loud**_", r"\*\*loud\*\*\_"),
    ],
)
def test_text_from_outside_stands_for_itself(text, written):
    assert plain(text) == written
