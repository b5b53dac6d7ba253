"""The house: which room may know which, read from the code and held against the table in DEVELOPERS.md."""

from __future__ import annotations

import ast
import io
import re
import subprocess
import sys
import tokenize
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import pytest

ROOT = Path(__file__).resolve().parents[1]
OUR_NAME = re.compile(r"(tuner|dashboard)(\.[a-z_0-9]+)+")
ROW = re.compile(r"^\|\s*(\d+)(?:\.(\d+))?\s*\|\s*`([^`]+)`\s*\|\s*(.+?)\s*\|")

# the package's own face and its `-m` door stand outside the floors; both are held to rules of their own below
FACE, DOOR = "tuner", "tuner.__main__"

# what only some rooms may know; everything else in the tree is refused
ONLY_IN = {
    "streamlit": ("dashboard",),
    "dashboard": ("dashboard",),
    "click": ("tuner.cli",),
    "rich": ("tuner.cli",),
    "jinja2": ("tuner.report",),
    # drawn in charts, written into the page by the report, handed out to notebooks
    "plotly": ("tuner.charts", "tuner.report", "tuner.api"),
    "pint": ("tuner.units",),
    "pandas": ("tuner.reading", "tuner.api"),  # frames in, frames out
}
SLOW = ("scipy.signal", "scipy.stats", "pandas", "pint", "plotly", "numba")  # 0.3 to 1 s each to import
VAGUE = {"utils", "util", "helpers", "helper", "common", "misc", "tools", "stuff"}
MOST_LINES = 300  # of code; a longer room becomes a package


class Room(NamedTuple):
    floor: int
    job: str
    inner: int = 0  # floor inside the room that holds it; 0 for a room that stands by itself


class Import(NamedTuple):
    name: str
    line: int
    at_load: bool  # runs when the module is loaded: neither in a function nor for type checking only
    runs: bool = True  # an import statement that runs, at load or in a function


def table(text: str) -> dict[str, Room]:
    """Read the rows ``| floor | `room` | its one job |``; rooms as dotted names.

    A floor with a point, ``| 5.1 | `tuner/reading/text` | ... |``, is one inside a room: 5.1 below 5.2.
    """
    rows = [match.groups() for line in text.splitlines() if (match := ROW.match(line))]
    return {dotted(Path(path)): Room(int(floor), job, int(inner or 0)) for floor, inner, path, job in rows}


def dotted(path: Path) -> str:
    """``tuner/fitting/sweep.py`` -> ``tuner.fitting.sweep``; a package's ``__init__`` is the package."""
    parts = list(path.with_suffix("").parts)
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def modules() -> dict[str, Path]:
    """Every module of the program by dotted name."""
    files = [file for top in ("tuner", "dashboard") for file in sorted((ROOT / top).rglob("*.py"))]
    return {dotted(file.relative_to(ROOT)): file for file in files}


def room_of(module: str, rooms: dict[str, Room]) -> str | None:
    """The room a module belongs to: its longest named parent, or itself."""
    parts = module.split(".")
    names = (".".join(parts[:i]) for i in range(len(parts), 0, -1))
    return next((name for name in names if name in rooms), None)


def outer(room: str, rooms: dict[str, Room]) -> str:
    """The room by itself to which a room inside a room belongs."""
    return outer(room.rpartition(".")[0], rooms) if room not in rooms or rooms[room].inner else room


def allowed(rooms: dict[str, Room], home: str, target: str) -> bool:
    """Say whether `home` may know `target`: floors below it; inside one room its inner floors, the face last."""
    if outer(home, rooms) != outer(target, rooms):
        return rooms[target].floor < rooms[home].floor
    return home == outer(home, rooms) or 0 < rooms[target].inner < rooms[home].inner


def _guards_types(node: ast.AST) -> bool:
    return isinstance(node, ast.If) and "TYPE_CHECKING" in ast.dump(node.test)


def imports(source: str, module: str, package: bool) -> list[Import]:
    """Every import of a module, wherever it stands, and every dotted name of ours kept as text (lazy loading)."""
    here = module.split(".") if package else module.split(".")[:-1]
    found: list[Import] = []

    def walk(node: ast.AST, at_load: bool, runs: bool) -> None:
        if isinstance(node, ast.Import):
            found.extend(Import(alias.name, node.lineno, at_load, runs) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = here[: len(here) - node.level + 1] if node.level else []
            start = ".".join([*base, *([node.module] if node.module else [])])
            found.extend(Import(f"{start}.{alias.name}", node.lineno, at_load, runs) for alias in node.names)
        elif isinstance(node, ast.Constant) and OUR_NAME.fullmatch(str(node.value)):
            found.append(Import(str(node.value), node.lineno, False, False))
        later = isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda)
        for child in ast.iter_child_nodes(node):
            guarded = _guards_types(node)
            walk(child, at_load and not (later or guarded), runs and not guarded)

    walk(ast.parse(source), True, True)
    return found


def arrows(rooms: dict[str, Room], module: str, found: list[Import]) -> Iterator[str]:
    """Yield one sentence for each import that points sideways or up, or at no room."""
    home = room_of(module, rooms)
    for use in found:
        if use.name.split(".")[0] not in ("tuner", "dashboard") or use.name == f"{FACE}.__version__":
            continue
        target = room_of(use.name, rooms)
        if home is None or target == home:
            continue
        if target is None:
            yield f"{module} line {use.line} imports {use.name}, which is in no room"
        elif not allowed(rooms, home, target):
            floors = [f"{rooms[r].floor}.{rooms[r].inner}" for r in (home, target)]
            yield f"{module} (floor {floors[0]}) line {use.line} imports {use.name} ({floors[1]})"


def code_lines(source: str) -> int:
    """Lines that hold code: neither blank, nor comment, nor docstring."""
    lines: set[int] = set()
    fresh = True  # a string that begins a statement is a docstring
    skip = (
        tokenize.NL,
        tokenize.COMMENT,
        tokenize.INDENT,
        tokenize.DEDENT,
        tokenize.ENCODING,
        tokenize.ENDMARKER,
    )
    for token in tokenize.generate_tokens(io.StringIO(source).readline):
        if token.type in skip:
            continue
        if token.type == tokenize.NEWLINE:
            fresh = True
            continue
        if not (fresh and token.type == tokenize.STRING):
            lines.update(range(token.start[0], token.end[0] + 1))
        fresh = False
    return len(lines)


def printing(source: str) -> list[int]:
    """Lines that print, or write to the standard streams."""
    tree = ast.parse(source)
    calls = [n.lineno for n in ast.walk(tree) if isinstance(n, ast.Call) and ast.unparse(n.func) == "print"]
    streams = {"sys.stdout", "sys.stderr", "sys.__stdout__", "sys.__stderr__"}
    return calls + [
        n.lineno for n in ast.walk(tree) if isinstance(n, ast.Attribute) and ast.unparse(n) in streams
    ]


ROOMS = table((ROOT / "DEVELOPERS.md").read_text(encoding="utf-8"))
MODULES = modules()
IMPORTS = {
    name: imports(file.read_text(encoding="utf-8"), name, file.name == "__init__.py")
    for name, file in MODULES.items()
}
EVERY = pytest.mark.parametrize("module", sorted(MODULES))


def test_the_table_is_there():
    """The foundation stands on the lower floors, and the doors stand highest."""
    floors = [room.floor for room in ROOMS.values()]

    assert ROOMS["tuner.errors"].floor == min(floors) == 0
    assert ROOMS["tuner.judging"].floor < ROOMS["tuner.comparing"].floor < ROOMS["tuner.wording"].floor
    assert ROOMS["tuner.cli"].floor > ROOMS["tuner.jobs"].floor
    assert all(room.job for room in ROOMS.values())


@pytest.mark.parametrize("room", sorted(ROOMS))
def test_every_room_of_the_table_exists(room):
    path = ROOT.joinpath(*room.split("."))

    assert path.with_suffix(".py").exists() or path.is_dir()


@EVERY
def test_every_module_belongs_to_a_room(module):
    assert module in (FACE, DOOR) or room_of(module, ROOMS) is not None


@EVERY
def test_a_room_with_floors_inside_has_each_of_its_modules_on_one(module):
    """Only the face of such a room stands on none of them."""
    home = room_of(module, ROOMS)
    divided = any(room.inner and outer(name, ROOMS) == home for name, room in ROOMS.items())

    assert not divided or module == home


@EVERY
def test_arrows_point_down(module):
    assert list(arrows(ROOMS, module, IMPORTS[module])) == []


@pytest.mark.parametrize(
    "module", [m for m in sorted(MODULES) if not m.startswith(("tuner.cli", "dashboard"))]
)
def test_only_the_command_line_prints(module):
    assert printing(MODULES[module].read_text(encoding="utf-8")) == []


@EVERY
def test_foreign_things_stay_in_their_room(module):
    """No screen, session or command line in the library; pint, pandas, plotly, jinja2 where they belong."""
    strangers = []
    for use in IMPORTS[module]:
        top = use.name.split(".")[0]
        if top in ONLY_IN and not any(f"{module}.".startswith(f"{home}.") for home in ONLY_IN[top]):
            strangers.append(f"line {use.line}: {use.name}")

    assert strangers == []


@EVERY
def test_no_vague_names_and_no_giants(module):
    assert not VAGUE & set(module.split("."))
    assert code_lines(MODULES[module].read_text(encoding="utf-8")) <= MOST_LINES


@EVERY
def test_every_module_says_what_it_is(module):
    assert ast.get_docstring(ast.parse(MODULES[module].read_text(encoding="utf-8")))


@pytest.mark.parametrize("module", [m for m in sorted(MODULES) if m.startswith("tuner")])
def test_slow_libraries_are_not_loaded_with_the_foundation(module):
    """scipy.signal and scipy.stats nowhere at load; the others only in the rooms they belong to."""
    loaded = [use.name for use in IMPORTS[module] if use.at_load]
    allowed = {name for name, homes in ONLY_IN.items() if any(module.startswith(home) for home in homes)}
    slow = [
        name
        for name in loaded
        for heavy in SLOW
        if f"{name}.".startswith(f"{heavy}.") and heavy not in allowed
    ]

    assert slow == []


def test_the_face_loads_nothing_by_itself():
    loaded = [use.name for use in IMPORTS[FACE] if use.at_load]

    assert not [name for name in loaded if name.split(".")[0] not in sys.stdlib_module_names]


def test_modules_do_not_load_each_other_in_a_ring():
    """Loading any module first must work, and no ring may hide in an import inside a function."""
    known = set(MODULES)

    def needs(module: str) -> set[str]:
        names = {use.name for use in IMPORTS[module] if use.runs}
        exact = {name if name in known else name.rpartition(".")[0] for name in names}
        return (exact & known) - {module, FACE}

    done: set[str] = set()

    def visit(module: str, trail: tuple[str, ...]) -> None:
        assert module not in trail, " -> ".join((*trail, module))
        if module not in done:
            for needed in sorted(needs(module)):
                visit(needed, (*trail, module))
            done.add(module)

    for module in sorted(known):
        visit(module, ())


@pytest.mark.parametrize("statement", ["import tuner", "import tuner.cli"])
def test_the_doors_open_without_numbers(statement):
    """Neither numpy nor pandas is loaded before there is something to compute."""
    code = f"import sys; {statement}; print([m for m in ('numpy', 'pandas', 'scipy', 'pint') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)

    assert done.stdout.strip() == "[]"


# --- the checks themselves can fail ------------------------------------------------------------------------------

TOY = table(
    "| 0 | `tuner/low.py` | a |\n| 1 | `tuner/middle` | b |\n| 1 | `tuner/beside.py` | c |\n| 2 | `tuner/top.py` | d |"
)


@pytest.mark.parametrize(
    ("source", "wrong"),
    [
        ("from tuner.low import x", False),
        ("from tuner.middle.part import x", False),
        ("from .part import x", False),
        ("import numpy", False),
        ("from tuner.top import x", True),
        ("import tuner.top", True),
        ("from tuner import top", True),
        ("from tuner.beside import x", True),
        ("from .. import beside", True),
        ("from ..top import x", True),
        ("def f():\n    from tuner.top import x", True),
        ("from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    from tuner.top import x", True),
        ("WHERE = {'a': 'tuner.top'}", True),
        ("from tuner.nowhere import x", True),
    ],
)
def test_a_wrong_arrow_is_found(source, wrong):
    found = imports(source, "tuner.middle.piece", package=False)

    assert bool(list(arrows(TOY, "tuner.middle.piece", found))) is wrong


DIVIDED = table(
    "| 0 | `tuner/low.py` | a |\n| 1 | `tuner/house` | b |\n| 1.1 | `tuner/house/cellar` | c |\n"
    "| 1.2 | `tuner/house/hall` | d |\n| 1.2 | `tuner/house/porch.py` | e |\n| 2 | `tuner/top.py` | f |"
)


@pytest.mark.parametrize(
    ("module", "source", "wrong"),
    [
        ("tuner.house.hall.piece", "from tuner.house.cellar.part import x", False),
        ("tuner.house.hall.piece", "from tuner.house.hall.other import x", False),
        ("tuner.house.hall.piece", "from tuner.low import x", False),
        ("tuner.house", "from tuner.house.porch import x", False),
        ("tuner.top", "from tuner.house.cellar.part import x", False),
        ("tuner.top", "from tuner.house import x", False),
        ("tuner.house.cellar.part", "from tuner.house.hall import x", True),
        ("tuner.house.cellar.part", "def f():\n    from tuner.house.hall.piece import x", True),
        ("tuner.house.hall.piece", "from tuner.house.porch import x", True),
        ("tuner.house.hall.piece", "from tuner.house import x", True),
        ("tuner.house.hall.piece", "from tuner.top import x", True),
        ("tuner.low", "from tuner.house.cellar.part import x", True),
    ],
)
def test_a_wrong_arrow_inside_a_room_is_found(module, source, wrong):
    found = imports(source, module, package=False)

    assert bool(list(arrows(DIVIDED, module, found))) is wrong


@pytest.mark.parametrize(
    ("source", "lines"),
    [("print('x')", [1]), ("import sys\nsys.stderr.write('x')", [2]), ("blueprint('x')", [])],
)
def test_printing_is_found(source, lines):
    assert printing(source) == lines


def test_imports_at_load_are_told_from_later_ones():
    source = "import a\ndef f():\n    import b\nclass C:\n    import c\nif TYPE_CHECKING:\n    import d\n"

    assert {use.name: use.at_load for use in imports(source, "m", package=False)} == {
        "a": True,
        "b": False,
        "c": True,
        "d": False,
    }


def test_code_lines_leave_out_words():
    assert code_lines('"""Words\n\nmore words.\n"""\n\nx = 1  # why\n# alone\ny = [\n    2,\n]\n') == 4
