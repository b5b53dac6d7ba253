"""Reading and fitting in a process pool: the same answers and refusals, and no process is left behind."""

from __future__ import annotations

import multiprocessing
import os
import signal
import subprocess
import sys
import time
from concurrent.futures import wait
from pathlib import Path

import pytest
from browsing import ROOT, WAIT, start

from dashboard import cache, examples, pool, prefetch
from tuner.errors import FitError

PROCESSES = pytest.mark.skipif(
    not Path("/proc/self/task").is_dir(), reason="this system does not list its processes"
)

# works out every result of the examples and all that stands on their pages; prints what that imported
EVERYTHING = """
import sys
from dashboard import pool, router
pool.import_all()
there = set(sys.modules)
from dashboard import cache, examples
from dashboard.widgets import figures
from tuner import charts, exchange, wording
from tuner.report import render_report
for name in examples.EXAMPLES:
    setup = examples.setup_of(name, None)
    runs, machine, corner = setup.runs, setup.machine, cache.first_corner(setup)
    if setup.question == "change":
        job = cache.compare_job(*runs, machine, corner)
        shown = figures.of_change(runs, machine, corner, job, charts.LIGHT)
        wording.change_sections(job.comparison, "us", notes=job.notes, decided=job.decided)
    elif setup.question == "pair":
        job = cache.match_job(*runs, machine, corner, 0.1)
        shown = figures.of_pair(runs, machine, corner, job, charts.LIGHT, ("a", "b"))
        wording.pair_sections(job.match, ("a", "b"), "us", notes=job.notes, decided=job.decided)
    else:
        job = cache.fit_job(runs[0], machine, corner)
        shown = figures.of_one(runs[0], machine, corner, job, charts.LIGHT)
        wording.fit_sections(job.judgement, "us", notes=job.notes, decided=job.decided)
    for group in shown.groups("us"):
        for each in group.figures:
            each.figure.to_json()
    render_report(job, "us")
watched = ("tuner", "plotly", "pandas", "scipy", "pyarrow")
late = {name for name in set(sys.modules) - there if name.split(".")[0] in watched}
# plotly imports each part of a figure at its first use; neither they nor the other two are in a circle of imports
leaves = ("plotly.graph_objs.", "plotly.animation", "pyarrow.vendored.version")
print(*sorted(name for name in late if not name.startswith(leaves)))
"""

# a server's pool, which says which processes it has and waits to be killed
SERVER = """
import multiprocessing, time
from dashboard import pool
if __name__ == "__main__":
    pool.start()
    for work in [pool.submit(time.sleep, 1) for _ in range(pool.PROCESSES)]:
        work.result()
    print(*(process.pid for process in multiprocessing.active_children()), flush=True)
    time.sleep(60)
"""


def refuse(words: str) -> None:
    raise FitError(words, hint="Test again.")


def end_process(first: int) -> None:
    """End the process that runs this, unless it is the one that asked."""
    if os.getpid() != first:
        os.kill(os.getpid(), signal.SIGTERM)
        time.sleep(20)


@pytest.fixture(scope="module")
def running():
    pool.start()
    yield
    pool.stop()


def test_without_a_server_the_work_is_done_here():
    assert pool.submit(os.getpid).result() == os.getpid()
    with pytest.raises(FitError, match="nothing rings"):
        pool.submit(refuse, "nothing rings").result()


def test_a_server_has_it_done_elsewhere_by_a_few(running):
    others = {work.result(60) for work in [pool.submit(os.getpid) for _ in range(8)]}

    assert os.getpid() not in others
    assert 1 <= len(others) <= pool.PROCESSES


def test_a_refusal_comes_back_whole(running):
    with pytest.raises(FitError, match="nothing rings") as refused:
        pool.submit(refuse, "nothing rings").result(60)

    assert refused.value.hint == "Test again."


def test_the_pool_reads_and_fits_as_it_is_done_here(running, monkeypatch):
    setup = examples.setup_of("thinner", None)
    cache._work.clear()
    (elsewhere,) = cache.fitted(setup.runs[:1], setup.machine, setup.corner)
    monkeypatch.setattr(pool, "_pool", None)
    cache._work.clear()
    (here,) = cache.fitted(setup.runs[:1], setup.machine, setup.corner)

    assert [fit.side("rebound").secant for fit in elsewhere.fits] == [
        fit.side("rebound").secant for fit in here.fits
    ]


def test_a_process_that_is_ended_is_refused_with_a_sentence_and_replaced(running):
    with pytest.raises(FitError, match="ended from outside") as refused:
        cache._answer(pool.submit(end_process, os.getpid()))

    assert "again" in refused.value.hint
    assert pool.submit(os.getpid).result(60) != os.getpid()


def test_stopping_ends_what_is_under_way():
    pool.stop()
    pool.start()
    pool.submit(time.sleep, 60)
    begun = time.monotonic()
    pool.stop()
    for process in multiprocessing.active_children():
        process.join(20)

    assert time.monotonic() - begun < 20


@PROCESSES
def test_no_process_outlives_a_server_that_is_killed(tmp_path):
    program = tmp_path / "server.py"
    program.write_text(SERVER)
    server = subprocess.Popen(
        [sys.executable, program],
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE,
        text=True,
    )
    assert server.stdout is not None
    numbers = [int(number) for number in server.stdout.readline().split()]
    assert len(numbers) == pool.PROCESSES
    server.kill()
    server.communicate(timeout=20)

    assert gone(numbers)


def test_nothing_is_imported_when_a_page_needs_it():
    """Else two threads may enter a package from different ends and get it half made."""
    done = subprocess.run(
        [sys.executable, "-c", EVERYTHING], cwd=ROOT, capture_output=True, text=True, timeout=300, check=False
    )

    assert done.returncode == 0, done.stderr[-2000:]
    assert done.stdout.split() == []


# --- prefetching -------------------------------------------------------------------------------------------------


def test_every_recording_of_the_examples_is_prefetched():
    def recordings(names):
        setups = [examples.setup_of(name, None) for name in names]
        return {each.held.sha256 for setup in setups for run in setup.runs for each in run.recordings}

    assert recordings(prefetch.ORDER) == recordings(examples.EXAMPLES)


def test_a_page_finds_what_was_prefetched(monkeypatch):
    cache._work.clear()
    monkeypatch.setattr(prefetch, "ORDER", ("thinner",))
    prefetch.fetch()
    asked: list[object] = []
    monkeypatch.setattr(pool, "submit", lambda *work: asked.append(work))
    setup = examples.setup_of("thinner", None)

    assert cache.compare_job(*setup.runs, setup.machine, setup.corner).comparison
    assert asked == []


def test_a_run_that_is_refused_is_left_to_its_page(monkeypatch):
    cache._work.clear()
    monkeypatch.setattr(prefetch, "ORDER", ("thinner", "twins"))
    real = pool.submit

    def submit(function, *given):
        if getattr(given[0], "name", "").startswith("front"):
            return pool.failed(FitError("no"))
        return real(function, *given)

    monkeypatch.setattr(pool, "submit", submit)
    prefetch.fetch()

    assert not wait([work.future for work in cache._work.values()], 0).not_done
    assert any(key[0] == "fit" for key in cache._work)


def test_single_pages_prefetch_nothing(monkeypatch):
    begun = []
    monkeypatch.setattr(prefetch, "fetch", lambda: begun.append(1))
    prefetch.begin()

    assert begun == []


# --- a whole server ----------------------------------------------------------------------------------------------


@PROCESSES
def test_a_server_replaces_a_process_and_leaves_none(tmp_path, browser):
    """The new process, started while pages run, does not take one of them for its main file."""
    process, address = start(folder=tmp_path)
    try:
        page = browser.new_context().new_page()
        page.goto(address)
        page.get_by_role("link", name="two drives").wait_for(timeout=WAIT)
        until = time.monotonic() + 60
        while not (begun := children(process.pid)) and time.monotonic() < until:
            time.sleep(0.1)  # the examples are prefetched
        os.kill(begun[0], signal.SIGKILL)
        page.goto(f"{address}/?page=change&example=jumps")
        for _ in range(3):  # what was under way when the process went is refused, and begun again on a reload
            page.locator(".verdicts").or_(page.get_by_role("alert")).first.wait_for(timeout=WAIT)
            if page.locator(".verdicts").count():
                break
            page.reload()
        assert page.locator(".verdicts").count() == 1
        numbers = children(process.pid)
        assert numbers
        page.context.close()
    finally:
        process.terminate()
        said, _ = process.communicate(timeout=20)

    assert gone(numbers)
    assert "ScriptRunContext" not in said
    assert "Traceback" not in said


def children(parent: int) -> list[int]:
    found = []
    for each in Path("/proc").iterdir():
        if each.name.isdigit():
            try:
                fields = each.joinpath("stat").read_text().rpartition(")")[2].split()
                words = each.joinpath("cmdline").read_bytes()
            except OSError:
                continue
            if int(fields[1]) == parent and b"spawn_main" in words:
                found.append(int(each.name))
    return found


def gone(numbers: list[int]) -> bool:
    """Whether these processes end within 20 s; one that nobody has asked about its end yet has ended, too."""

    def ended(number: int) -> bool:
        try:
            return Path(f"/proc/{number}/stat").read_text().rpartition(")")[2].split()[0] == "Z"
        except OSError:
            return True

    until = time.monotonic() + 20
    while time.monotonic() < until:
        if all(ended(number) for number in numbers):
            return True
        time.sleep(0.1)
    return False
