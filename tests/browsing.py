"""A real browser on a real server: fixtures for the tests that look at the dashboard as people do.

Without the distribution's Chromium these tests are skipped with a reason; where the environment says CI they fail.
"""

from __future__ import annotations

import os
import re
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[1]
SAMPLES = ROOT / "sample_data"
WAIT = 60_000  # milliseconds, for a slow machine
ARGUMENTS = ["--no-sandbox", "--disable-dev-shm-usage", "--disable-background-networking"]
IDLE = """() => document.querySelector('[data-testid=stApp]')
  ?.getAttribute('data-test-script-state') === 'notRunning'"""
SIDEWAYS = """() => { const main = document.querySelector('[data-testid=stMain]');
  return main.scrollWidth - main.clientWidth; }"""


def chromium() -> str:
    """Give the distribution's Chromium; skip without one, fail where CI must not skip."""
    found = next((path for name in ("chromium", "chromium-browser") if (path := shutil.which(name))), None)
    if found is None:
        reason = "the distribution's Chromium is not installed (apt-get install chromium)"
        if os.environ.get("CI"):
            pytest.fail(reason)
        pytest.skip(reason)
    return found


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def answers(address: str) -> bool:
    """Say whether the server is there."""
    ask = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    try:
        with ask.open(f"{address}/healthy", timeout=2) as reply:
            return bool(reply.status == 200)
    except OSError:
        return False


def start(*options: str, folder: Path) -> tuple[subprocess.Popen[str], str]:
    """Start the dashboard in a folder of its own; give the process and its address."""
    port = free_port()
    process = subprocess.Popen(
        [sys.executable, "-m", "dashboard", "--no-browser", "--port", str(port), *options],
        cwd=folder,
        env=os.environ | {"PYTHONPATH": str(ROOT), "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    address = f"http://127.0.0.1:{port}"
    until = time.monotonic() + 60
    while not answers(address):
        assert process.poll() is None, process.stdout.read() if process.stdout else "ended"
        assert time.monotonic() < until, "the server did not answer within a minute"
        time.sleep(0.1)
    return process, address


@pytest.fixture(scope="session")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """One server for all tests of a session."""
    chromium()
    process, address = start(folder=tmp_path_factory.mktemp("elsewhere"))
    yield address
    process.terminate()
    process.communicate(timeout=20)


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """One browser for all tests of a session."""
    path = chromium()
    playwright = pytest.importorskip("playwright.sync_api")
    with playwright.sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=path, args=ARGUMENTS)
        yield started
        started.close()


class Visit:
    """A page in a context of its own, with helpers in the words of the tests; it remembers what went wrong."""

    def __init__(self, page: Any, address: str) -> None:
        self.page, self.address = page, address
        self.wrong: list[str] = []
        page.on("pageerror", lambda error: self.wrong.append(f"error: {error}"))
        page.on("console", self._console)
        page.on("request", self._request)

    def _console(self, message: Any) -> None:
        if message.type == "error":
            self.wrong.append(f"console: {message.text}")

    def _request(self, request: Any) -> None:
        inside = request.url.startswith((self.address, "data:", "blob:", self.address.replace("http", "ws")))
        if not inside:
            self.wrong.append(f"left the machine: {request.url}")

    def open(self, path: str = "") -> None:
        """Go to a page and wait until it rests."""
        self.page.goto(f"{self.address}/{path}")
        self.page.wait_for_selector("h1", timeout=WAIT)
        self.rest()

    def rest(self) -> None:
        """Wait until nothing is being computed."""
        self.page.wait_for_timeout(150)
        self.page.wait_for_function(IDLE, timeout=2 * WAIT)

    def add(self, files: list[Path] | list[dict[str, Any]], place: int = 0) -> None:
        """Add files at the n-th place for files and wait until they are read, or give a result."""
        inputs = self.page.locator('input[type="file"]')
        inputs.nth(place).wait_for(state="attached", timeout=WAIT)
        inputs.nth(place).set_input_files(files)
        name = files[0]["name"] if isinstance(files[0], dict) else files[0].name
        read = self.page.locator(".file b", has_text=name).or_(self.page.locator(".verdicts"))
        read.first.wait_for(state="attached", timeout=WAIT)
        self.rest()

    def unfold_why(self) -> None:
        """Open the fold with everything that the first screen of a result leaves out."""
        self.page.locator("summary", has_text="Show me why").click()
        self.page.get_by_text("What now", exact=True).first.wait_for(timeout=WAIT)
        self.rest()

    @property
    def answer(self) -> str:
        """The answer in one or two words."""
        return str(self.page.locator(".answer").inner_text(timeout=WAIT))

    @property
    def verdict(self) -> str:
        """The verdict as it is read: answer, sentence and both tags."""
        return re.sub(r"\s+", " ", self.page.locator(".verdicts").inner_text(timeout=WAIT))

    @property
    def sideways(self) -> int:
        """Pixels by which the page is wider than the screen."""
        return int(self.page.evaluate(SIDEWAYS))


@pytest.fixture
def visit(server: str, browser: Any) -> Iterator[Callable[..., Visit]]:
    """Open visits; at the end none may have met an error or asked anything outside this machine."""
    visits: list[Visit] = []

    def begin(width: int = 1280, height: int = 900, colours: str = "light", **more: Any) -> Visit:
        context = browser.new_context(
            viewport={"width": width, "height": height},
            color_scheme=colours,
            reduced_motion="reduce",
            locale="en-GB",
            **more,
        )
        visits.append(Visit(context.new_page(), server))
        return visits[-1]

    yield begin
    wrong = [sentence for each in visits for sentence in each.wrong]
    for each in visits:
        each.page.context.close()
    assert wrong == [], wrong
