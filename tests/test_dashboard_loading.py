"""What pages and background work need is loaded one after the other, and all of it."""

from __future__ import annotations

import subprocess
import sys
import threading
import time

from browsing import ROOT

from dashboard import loading

# works out every result of the examples and all that stands on their pages; prints what that loaded of the library
EVERYTHING = """
import sys
from dashboard import loading
loading.load(loading.FIRST_SCREEN)
loading.load()
there = set(sys.modules)
from dashboard import cache, examples, gallery
from tuner import charts, exchange, jobs, wording
from tuner.report import render_report
for name in examples.EXAMPLES:
    setup = examples.setup_of(name, None)
    machine, corner = setup.machine, cache.first_corner(setup)
    for group in gallery.of_setup(setup, charts.LIGHT).groups("us"):
        for each in group.figures:
            each.figure
    if setup.question == "change":
        job = cache.compare_job(*setup.runs, machine, corner)
        wording.change_sections(job.comparison, "us", notes=job.notes, decided=job.decided)
    elif setup.question == "pair":
        job = cache.match_job(*setup.runs, machine, corner, 0.1)
        wording.pair_sections(job.match, ("a", "b"), "us", notes=job.notes, decided=job.decided)
    else:
        job = cache.fit_job(setup.runs[0], machine, corner)
        wording.fit_sections(job.judgement, "us", notes=job.notes, decided=job.decided)
    render_report(job, "us")
print(*sorted(name for name in set(sys.modules) - there if name.startswith("tuner")))
"""

SEARCHED = """
import gc
from dashboard import loading
loading.load(loading.FIRST_SCREEN)
loading.load()
print(gc.get_freeze_count(), len(gc.get_objects()))
"""


def test_nothing_of_the_library_is_loaded_later():
    """Else two threads may enter a package from different ends and get it half made."""
    done = subprocess.run(
        [sys.executable, "-c", EVERYTHING], cwd=ROOT, capture_output=True, text=True, timeout=300, check=False
    )

    assert done.returncode == 0, done.stderr[-2000:]
    assert done.stdout.split() == []


def test_what_stays_for_good_is_not_searched_after_every_run():
    """The server looks for garbage after each run of a page, in which nothing leaves for the browser."""
    done = subprocess.run(
        [sys.executable, "-c", SEARCHED], cwd=ROOT, capture_output=True, text=True, timeout=300, check=False
    )

    assert done.returncode == 0, done.stderr[-2000:]
    kept, searched = map(int, done.stdout.split())
    assert kept > 10 * searched


def test_two_at_once_wait_for_each_other(tmp_path, monkeypatch):
    """A package whose parts are entered from both ends: without the lock Python gives one of them half of it."""
    package = tmp_path / "halves"
    package.mkdir()
    (package / "__init__.py").write_text("import time\ntime.sleep(0.6)\nfrom halves.one import a\n")
    (package / "one.py").write_text("import halves\na = 1\n")
    monkeypatch.syspath_prepend(tmp_path)
    failed: list[BaseException] = []

    def enter(name: str) -> None:
        try:
            loading.load((name,))
        except ImportError as error:
            failed.append(error)

    threads = [threading.Thread(target=enter, args=(name,)) for name in ("halves", "halves.one")]
    for thread in threads:
        thread.start()
        time.sleep(0.2)
    for thread in threads:
        thread.join()

    assert failed == []
    assert sys.modules["halves"].a == 1
