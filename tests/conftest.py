"""What several test files share: golden word files and a command line that is run in this process."""

from __future__ import annotations

import io
import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NamedTuple

import pytest
from browsing import browser, server, visit  # noqa: F401

# one process per core runs the suite: a second thread of the linear algebra only gets in its way
for _threads in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_threads, "1")

ROOT = Path(__file__).resolve().parents[1]
GOLDEN = ROOT / "tests" / "golden"
SAMPLES = ROOT / "sample_data"


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--rewrite-golden", action="store_true", help="write the golden word files anew (read the diff)"
    )


@pytest.fixture
def golden(request: pytest.FixtureRequest) -> Callable[[str, str], None]:
    """Compare words with a golden file, which only --rewrite-golden writes."""

    def compare(name: str, words: str) -> None:
        path = GOLDEN / name
        if request.config.getoption("--rewrite-golden"):
            path.parent.mkdir(exist_ok=True)
            path.write_text(words, encoding="utf-8")
        assert path.is_file(), f"no golden file {name}; read the words, then pytest --rewrite-golden"
        assert path.read_text(encoding="utf-8") == words

    return compare


class Ended(NamedTuple):
    """How a command ended."""

    status: int
    out: str
    err: str


@pytest.fixture
def tuner(monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]) -> Callable[..., Ended]:
    """Run the command line in this process: ``tuner("fit", file)`` gives status, output and errors."""
    from tuner.cli import run

    def call(*words: str | Path, stdin: bytes | None = None) -> Ended:
        if stdin is not None:
            monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(stdin)))
        capfd.readouterr()
        status = run([str(word) for word in words])
        out, err = capfd.readouterr()
        return Ended(status, out, err)

    return call


@pytest.fixture
def fresh() -> Callable[[Sequence[str]], Ended]:
    """Run a command in a process of its own."""
    import subprocess

    def call(words: Sequence[str], **more: object) -> Ended:
        done = subprocess.run(  # type: ignore[call-overload]
            list(words), capture_output=True, text=True, encoding="utf-8", timeout=120, cwd=ROOT, **more
        )
        return Ended(done.returncode, done.stdout, done.stderr)

    return call
