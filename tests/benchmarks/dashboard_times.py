"""How long the dashboard takes, as a visitor waits: first screen, results, changes on a page, long files, five at once.

Takes nothing; prints a table in seconds (each the median of a few, with the slowest). Run it on a quiet machine:
``python -m tests.benchmarks.dashboard_times``; with ``--long`` files of a million and of ten million rows.
"""

from __future__ import annotations

import argparse
import os
import statistics
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from browsing import ARGUMENTS, IDLE, SAMPLES, chromium, start

WAIT = 180_000


@contextmanager
def running() -> Iterator[str]:
    """Run a server for as long as it is needed."""
    process, address = start(folder=Path(tempfile.mkdtemp()))
    try:
        yield address
    finally:
        process.terminate()
        process.communicate(timeout=20)


class Times:
    """Times by what was waited for."""

    def __init__(self) -> None:
        self.taken: dict[str, list[float]] = {}

    @contextmanager
    def of(self, what: str) -> Iterator[None]:
        begun = time.perf_counter()
        yield
        self.taken.setdefault(what, []).append(time.perf_counter() - begun)

    def note(self, what: str, seconds: float) -> None:
        self.taken.setdefault(what, []).append(seconds)

    def show(self) -> None:
        for what, taken in self.taken.items():
            print(f"{what:62} {statistics.median(taken):6.2f}   slowest {max(taken):6.2f}   of {len(taken)}")


# notes in the page itself, from the event of the next click: the verdict with that sign, and all drawn and painted
WATCH = """sign => {
  const app = document.querySelector('[data-testid=stApp]'), seen = window.watched = {};
  const said = () => document.querySelector('.verdicts').innerText.replaceAll('\u00a0', ' ');
  let begun;
  document.addEventListener('click', () => { begun ??= performance.now(); }, {capture: true, once: true});
  const since = () => (performance.now() - begun) / 1000;
  const watch = new MutationObserver(() => {
    if (begun === undefined) return;
    if (!seen.verdict && said().includes(sign)) seen.verdict = since();
    if (seen.verdict && app.getAttribute('data-test-script-state') === 'notRunning') {
      watch.disconnect();
      requestAnimationFrame(() => requestAnimationFrame(() => { seen.drawn = since(); }));
    }
  });
  watch.observe(document.body, {subtree: true, childList: true, characterData: true, attributes: true});
}"""


# notes in the page itself how long after the file was read its picture stands
WATCH_PICTURE = """() => {
  const seen = window.watched = {};
  new MutationObserver(() => {
    if (!seen.read && document.querySelector('.file b, .verdicts')) seen.read = performance.now();
    if (!seen.after && document.querySelector('.st-key-w_whole .main-svg'))
      requestAnimationFrame(() => { seen.after ??= (performance.now() - seen.read) / 1000; });
  }).observe(document.body, {subtree: true, childList: true});
}"""


def rest(page: Any) -> None:
    page.wait_for_timeout(30)
    page.wait_for_function(IDLE, timeout=WAIT)


def fresh(browser: Any, address: str, path: str = "") -> Any:
    page = browser.new_context(viewport={"width": 1280, "height": 900}).new_page()
    page.goto(f"{address}/{path}")
    return page


def first_screens(browser: Any, times: Times) -> None:
    for _ in range(3):
        with running() as address:
            for what in ("first screen, first visitor of a new server", "first screen, later visitors"):
                with times.of(what):
                    page = fresh(browser, address)
                    page.get_by_role("link", name="Did my change help?", exact=True).wait_for(timeout=WAIT)
                    rest(page)
                page.context.close()


def results(browser: Any, address: str, times: Times) -> None:
    for example, page_name in (
        ("drained", "change"),
        ("thinner", "change"),
        ("twins", "pair"),
        ("weights", "one"),
        ("drives", "change"),
        ("jumps", "change"),
        ("drained-bounce", "change"),
    ):
        for turn in ("first time", "again"):
            with times.of(f"example {example}, {turn}: from the link to the verdict"):
                page = fresh(browser, address, f"{page_name}?example={example}")
                page.locator(".verdicts").wait_for(timeout=WAIT)
            page.context.close()


# notes in the page itself, from the next click: the verdict, and all drawn and painted
WATCH_EXAMPLE = """() => {
  const app = document.querySelector('[data-testid=stApp]'), seen = window.watched = {};
  let begun;
  document.addEventListener('click', () => { begun ??= performance.now(); }, {capture: true, once: true});
  const since = () => (performance.now() - begun) / 1000;
  const watch = new MutationObserver(() => {
    if (begun === undefined) return;
    if (!seen.verdict && document.querySelector('.verdicts')) seen.verdict = since();
    if (seen.verdict && document.querySelector('.js-plotly-plot .main-svg')
        && app.getAttribute('data-test-script-state') === 'notRunning') {
      watch.disconnect();
      requestAnimationFrame(() => requestAnimationFrame(() => { seen.drawn = since(); }));
    }
  });
  watch.observe(document.body, {subtree: true, childList: true, characterData: true, attributes: true});
}"""


EXAMPLES = (
    "oil let out, on a bench",
    "oil let out, by phone",
    "thinner oil, peak forces",
    "two drives",
    "jumps",
    "rear left against rear right",
    "hung weights",
)


def examples_opened(browser: Any, times: Times) -> None:
    """Open every kind of example for the first time, from the first screen of a new server, after a slow reader."""
    with running() as address:
        page = fresh(browser, address)
        for words in EXAMPLES:
            link = page.get_by_role("link", name=words, exact=True).first
            link.wait_for(timeout=WAIT)
            rest(page)
            page.wait_for_timeout(15_000 if not times.taken.get("example, click to the verdict") else 1000)
            page.evaluate(WATCH_EXAMPLE)
            link.click()
            page.wait_for_function("() => window.watched.drawn", timeout=WAIT)
            for what, key in (("the verdict", "verdict"), ("all drawn", "drawn")):
                times.note(f"example, click to {what}", page.evaluate(f"() => window.watched.{key}"))
            page.get_by_role("link", name="Questions").first.click()
        page.context.close()


def changes(browser: Any, address: str, times: Times) -> None:
    """Change something on a page that shows a result, over and over."""
    page = fresh(browser, address, "change?example=drained")
    page.locator(".js-plotly-plot .main-svg").first.wait_for(timeout=WAIT)
    rest(page)
    for turn in range(6):
        unit = "US" if turn % 2 == 0 else "metric"
        sign = "in/s" if unit == "US" else "At 0.26 m/s"
        page.evaluate(WATCH, sign)
        page.get_by_text(unit, exact=True).first.click()
        page.wait_for_function("() => window.watched.drawn", timeout=WAIT)
        for what, key in (("the new verdict", "verdict"), ("all drawn anew", "drawn")):
            times.note(
                f"metric to US and back, click to {what}", page.evaluate(f"() => window.watched.{key}")
            )
        page.wait_for_timeout(500)
    for speed in ("0.26 m/s", "0.52 m/s", "1.04 m/s", "0.13 m/s"):
        with times.of("another loop"):
            page.get_by_role("radio", name=speed).or_(page.get_by_text(speed, exact=True)).last.click()
            rest(page)
    page.get_by_text("The tests and the corner").click()
    page.locator(".st-key-w_corner input").wait_for(timeout=WAIT)
    for corner in ("rear right", "front left", "rear left"):
        with times.of("another corner"):
            page.locator(".st-key-w_corner input").fill(corner)
            page.keyboard.press("Enter")
            rest(page)
    page.context.close()


def long_file(browser: Any, address: str, times: Times, rows: int) -> None:
    import numpy as np

    folder = Path(tempfile.mkdtemp())
    path = folder / f"drive_{rows}.csv"
    generator = np.random.default_rng(rows)
    with path.open("w") as out:
        out.write("time (s),travel (mm)\n")
        for begin in range(0, rows, 200_000):
            clock = np.arange(begin, min(begin + 200_000, rows)) / 1000.0
            travel = (
                90 + 40 * np.sin(12 * clock) * np.sin(0.01 * clock) + generator.normal(0, 0.3, len(clock))
            )
            out.write("".join(f"{t:.3f},{x:.2f}\n" for t, x in zip(clock, travel, strict=True)))
    page = fresh(browser, address, "how")
    sent: list[int] = []
    page.on("websocket", lambda socket: socket.on("framereceived", lambda data: sent.append(len(data))))
    page.goto(address)
    question = page.get_by_role("link", name="What does this one recording say?", exact=True)
    question.wait_for(timeout=WAIT)
    page.wait_for_timeout(2000)  # a quick reader
    question.click()
    page.locator('input[type="file"]').first.wait_for(state="attached", timeout=WAIT)
    rest(page)
    page.wait_for_timeout(2000)  # a quick finder of files
    page.evaluate(WATCH_PICTURE)
    size = path.stat().st_size / 1e6
    with times.of(f"{rows:,} rows ({size:.0f} MB): added to picture of the recording"):
        page.locator('input[type="file"]').first.set_input_files(path)
        page.locator(".st-key-w_whole .main-svg").first.wait_for(timeout=WAIT)
    rest(page)
    times.note(
        f"{rows:,} rows: read to picture of the recording", page.evaluate("() => window.watched.after")
    )
    print(
        f"{rows:,} rows: {sum(sent) / 1e6:.2f} MB sent for the whole page, largest message {max(sent) / 1e6:.2f} MB"
    )
    picture = page.locator(".st-key-w_whole .nsewdrag").first
    picture.scroll_into_view_if_needed()
    box = picture.bounding_box()
    for turn in range(4):
        left = box["x"] + (0.2 + 0.15 * turn) * box["width"]
        page.mouse.move(left, box["y"] + 30)
        page.mouse.down()
        page.mouse.move(left + 30, box["y"] + 60, steps=4)
        sent.clear()
        before = page.locator(".st-key-w_part").inner_text() if turn else ""
        with times.of(f"{rows:,} rows: a marked stretch drawn closer"):
            page.mouse.up()
            page.locator(".st-key-w_part .main-svg").first.wait_for(timeout=WAIT)
            page.wait_for_function(
                "before => document.querySelector('.st-key-w_part').innerText !== before", arg=before
            )
        rest(page)
    print(f"{rows:,} rows: {sum(sent) / 1e6:.3f} MB sent for a closer picture")
    page.context.close()
    path.unlink()


def together(address: str, times: Times, visitors: int = 5) -> None:
    """Let five visitors, each with a browser of their own, go from their own files to the verdict at once."""
    from playwright.sync_api import sync_playwright

    gate = threading.Barrier(visitors)
    failed: list[str] = []

    def one(number: int) -> None:
        before, after = (
            (SAMPLES / name).read_bytes() + b"\n" * (number + 1)  # their own bytes, so that nothing is shared
            for name in ("rear_left_before_run1.csv", "rear_left_after_draining_run1.csv")
        )
        with sync_playwright() as driver:
            browser = driver.chromium.launch(executable_path=chromium(), args=ARGUMENTS)
            page = fresh(browser, address, "change")
            page.locator('input[type="file"]').nth(1).wait_for(state="attached", timeout=WAIT)
            rest(page)
            gate.wait()
            with times.of(f"{visitors} at once: two own bench files to the verdict"):
                for place, (name, data) in enumerate((("mine.csv", before), (f"mine {number}.csv", after))):
                    file = {"name": name, "mimeType": "text/csv", "buffer": data}
                    page.locator('input[type="file"]').nth(place).set_input_files([file])
                    read = page.locator(".file b", has_text=name).or_(page.locator(".verdicts"))
                    read.first.wait_for(state="attached", timeout=WAIT)
                    rest(page)
                page.locator(".verdicts").wait_for(timeout=WAIT)
            others = [f"mine {other}.csv" for other in range(visitors) if other != number]
            if any(name in page.content() for name in others):
                failed.append(f"visitor {number} sees what is not theirs")
            for unit in ("US", "metric"):
                with times.of(f"{visitors} at once: metric to US and back"):
                    page.get_by_text(unit, exact=True).first.click()
                    rest(page)
            browser.close()

    threads = [threading.Thread(target=one, args=(number,)) for number in range(visitors)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    print("; ".join(failed) or f"{visitors} at once: each saw only their own files")


def main() -> None:
    """Measure and print; what was measured is printed also when something goes wrong."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument(
        "--long", action="store_true", help="files of a million and of ten million rows instead"
    )
    options = parser.parse_args()
    times = Times()
    print(f"load of the machine before: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores", flush=True)
    try:
        _long(times) if options.long else _usual(times)
    finally:
        times.show()
        print(f"load of the machine after: {os.getloadavg()[0]:.1f}")


def _usual(times: Times) -> None:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=chromium(), args=ARGUMENTS)
        first_screens(browser, times)
        examples_opened(browser, times)
        with running() as address:
            for step in (results, changes):
                step(browser, address, times)
        browser.close()
    with running() as address:
        together(address, times)


def _long(times: Times) -> None:
    from playwright.sync_api import sync_playwright

    for rows in (1_000_000, 10_000_000):
        with running() as address, sync_playwright() as driver:
            browser = driver.chromium.launch(executable_path=chromium(), args=ARGUMENTS)
            long_file(browser, address, times, rows)
            browser.close()


if __name__ == "__main__":
    main()
