"""How long every kind of click takes on the samples: from the event until the page stands still, all painted.

Takes nothing; prints seconds, the slowest first, for a desk and for a phone, then those until all new words and
pictures in view stand. Run it on a quiet machine: ``python -m tests.benchmarks.dashboard_clicks``.

Counted is all that changes on the page, above and below what is in view. Not counted is what nobody sees: the browser
getting ready, the words of a typed table for screen readers, which the framework writes 0.3 s later, and the end of a
fold that has closed.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from tests.benchmarks.dashboard_times import (
    ARGUMENTS,
    EXAMPLES,
    IDLE,
    SAMPLES,
    WAIT,
    Times,
    chromium,
    rest,
    running,
)

SCREENS = {"desk": (1280, 900), "phone": (390, 844)}
QUIET = 700  # milliseconds without a change of the page
READER = 20_000  # milliseconds that the first visitor reads the first screen

# notes in the page itself when the last click, key or change was, and when the page last changed and was painted
WATCH = """() => {
  if (window.settled) return;
  const seen = window.settled = {};
  for (const kind of ['click', 'keydown', 'change'])
    document.addEventListener(kind, () => { seen.begun = performance.now(); }, {capture: true});
  const unseen = place => place.matches('details') || place.closest('.st-key-preload, canvas');
  const counts = change => !(change.target instanceof Element && unseen(change.target));
  const news = change => change.type === 'characterData' ? [change.target.parentElement] : [...change.addedNodes];
  seen.added = [];
  new MutationObserver(changes => {
    const counted = changes.filter(counts);
    if (counted.length) requestAnimationFrame(() => {
      seen.last = performance.now();
      seen.added.push(...counted.flatMap(news).map(each => [seen.last, each]));
    });
  })
    .observe(document.querySelector('[data-testid=stApp]'),
             {subtree: true, childList: true, characterData: true, attributes: true});
}"""

# gives when the last thing came that stands in view in the end
IN_VIEW = """() => {
  const shown = ([, each]) => {
    const place = (each instanceof Element ? each : each.parentElement)?.getBoundingClientRect();
    return place && place.width > 0 && place.height > 0 && place.bottom > 0 && place.top < innerHeight;
  };
  const { added, begun } = window.settled;
  return Math.max(0, ...added.filter(shown).map(([when]) => when - begun)) / 1000;
}"""


class Clicks:
    """A page on which things are done and timed."""

    def __init__(self, page: Any, screen: str, times: Times) -> None:
        self.page, self.screen, self.times = page, screen, times

    def link(self, words: str) -> Any:
        return self.page.get_by_role("link", name=words, exact=True).first

    def text(self, words: str) -> Any:
        return self.page.get_by_text(words, exact=True).last

    def button(self, words: str) -> Any:
        return self.page.get_by_role("button", name=words)

    def fold(self, words: str) -> Any:
        return self.page.locator("summary", has_text=words).first

    def timed(self, what: str, act: Callable[[], Any]) -> None:
        page = self.page
        page.evaluate(WATCH)
        rest(page)
        page.wait_for_timeout(QUIET)
        page.evaluate("() => Object.assign(window.settled, {begun: undefined, last: undefined, added: []})")
        act()
        until = time.monotonic() + 60
        since = 0.0
        while since < QUIET and time.monotonic() < until:
            page.wait_for_timeout(100)
            page.wait_for_function(IDLE, timeout=WAIT)
            since = page.evaluate("() => performance.now() - (window.settled.last ?? window.settled.begun)")
        taken = page.evaluate("() => (window.settled.last - window.settled.begun) / 1000")
        self.times.note(f"{self.screen}: {what}", taken)
        self.times.note(f"{self.screen}, what is in view: {what}", page.evaluate(IN_VIEW))

    def add(self, place: int, name: str) -> None:
        """A file chosen in the browser's own window gives no click: the time runs from the choice."""

        def choose() -> None:
            self.page.evaluate("() => { window.settled.begun = performance.now(); }")
            self.page.locator('input[type="file"]').nth(place).set_input_files([Path(SAMPLES) / name])
            read = self.page.locator(".file b", has_text=name).or_(self.page.locator(".verdicts"))
            read.first.wait_for(state="attached", timeout=WAIT)

        self.timed(f"file {place + 1} added", choose)


def all_clicks(clicks: Clicks) -> None:
    """The examples of every question, then files and a machine of one's own."""
    examples(clicks)
    own_files(clicks)
    machine(clicks)


def examples(clicks: Clicks) -> None:
    page, timed = clicks.page, clicks.timed
    timed("first example opened", lambda: clicks.link(EXAMPLES[0]).click())
    for words in ("US", "metric"):
        timed("other units, example on a bench", lambda words=words: clicks.text(words).click())
    timed("the tests unfolded", lambda: clicks.fold("The tests and the corner").click())
    timed("how it was read unfolded", lambda: clicks.fold("How it was read").click())
    timed("another corner", lambda: enter(page, "w_corner", "rear right"))
    timed("another loop", lambda: clicks.text("0.13 m/s").click())
    timed("the numbers unfolded", lambda: clicks.fold("Numbers (").click())
    timed("to the machine", lambda: clicks.link("The machine").click())
    timed("back to the question", lambda: clicks.link("Did my change help?").click())
    timed("to the questions", lambda: clicks.link("← Questions").click())
    timed("to how to test", lambda: clicks.link("How do I test without a bench?").click())
    timed("to the questions", lambda: clicks.link("← Questions").click())
    for words in (*EXAMPLES[1:], "a bench trace", "a bounce", "a drive"):
        timed("another example opened", lambda words=words: clicks.link(words).click())
        for units in ("US", "metric"):
            timed("other units, other examples", lambda units=units: clicks.text(units).click())
        if words.startswith("rear left"):
            timed("another tolerance", lambda: enter(page, "w_tolerance", "20"))
        if words == "a bench trace":
            timed("what the law leaves unfolded", lambda: clicks.fold("What the fitted law").click())
        timed("to the questions", lambda: clicks.link("← Questions").click())


def own_files(clicks: Clicks) -> None:
    page, timed = clicks.page, clicks.timed
    clicks.link("two drives").click()
    page.locator(".verdicts").wait_for(timeout=WAIT)
    timed("from the example to own files", lambda: clicks.button("Use my own files").click())
    timed("the table unfolded", lambda: clicks.fold("No file?").click())
    timed("a sweep to type in", lambda: clicks.text("type in a bench sweep").click())
    timed("weights to type in", lambda: clicks.text("type in hung weights").click())
    timed("the table folded", lambda: clicks.fold("No file?").click())
    clicks.add(0, "rear_left_before_run1.csv")
    timed("how it was read unfolded, own file", lambda: clicks.fold("How it was read").click())
    timed("the file looked at", lambda: clicks.text("Look at it and put it right").click())
    timed("what was on the damper unfolded", lambda: clicks.fold("What was on the damper").click())
    timed("the oil noted", lambda: enter(page, "w_noted_change_0_oil", "thick"))
    clicks.add(1, "rear_left_after_draining_run1.csv")
    timed("the tests unfolded, own files", lambda: clicks.fold("The tests and the corner").click())
    timed("a further test", lambda: clicks.button("Add the test after a further change").click())
    clicks.add(2, "rear_left_before_run2.csv")


def machine(clicks: Clicks) -> None:
    page, timed = clicks.page, clicks.timed
    timed("to the machine", lambda: clicks.link("The machine").click())
    timed("the invented machine", lambda: clicks.button("Use the invented buggy").click())
    timed("the body unfolded", lambda: clicks.fold("The body and its axles").click())
    for field, value in (("Sprung mass of this corner (kg)", "95"), ("Wheelbase (mm)", "1850")):
        timed("a number of the machine", lambda field=field, value=value: typed(page, field, value))
    timed("another corner of the machine", lambda: clicks.text("front left").click())
    timed("back with this machine", lambda: clicks.link("Did my change help?").click())


def enter(page: Any, key: str, value: str) -> None:
    field = page.locator(f"[class*=st-key-{key}] input").first
    field.scroll_into_view_if_needed()
    page.wait_for_timeout(300)  # a menu closes when the page moves
    field.fill(value)
    page.keyboard.press("Enter")


def typed(page: Any, label: str, value: str) -> None:
    page.get_by_label(label, exact=True).fill(value)
    page.keyboard.press("Enter")


def main() -> None:
    """Measure and print."""
    from playwright.sync_api import sync_playwright

    times = Times()
    with sync_playwright() as driver, running() as address:
        browser = driver.chromium.launch(executable_path=chromium(), args=ARGUMENTS)
        for screen, (width, height) in SCREENS.items():
            page = browser.new_context(viewport={"width": width, "height": height}).new_page()
            page.goto(address)
            page.get_by_role("link", name="Did my change help?", exact=True).wait_for(timeout=WAIT)
            page.wait_for_timeout(READER if screen == "desk" else 2000)
            all_clicks(Clicks(page, screen, times))
            page.context.close()
        browser.close()
    times.taken = dict(sorted(times.taken.items(), key=lambda each: ("in view" in each[0], -max(each[1]))))
    times.show()


if __name__ == "__main__":
    main()
