"""The examples are measured beforehand: all, to the same numbers, in a process that goes when the server goes."""

from __future__ import annotations

import multiprocessing
import time
import urllib.request
from pathlib import Path

import pytest
from browsing import ROOT, start

from dashboard import beforehand, cache, examples, gallery, workers
from tuner.charts import LIGHT
from tuner.charts.drawing import Drawing
from tuner.records import SIDES


def test_every_recording_of_the_examples_is_measured():
    wanted = {
        recording.held.sha256
        for name in examples.EXAMPLES
        for run in examples.setup_of(name, None).runs
        for recording in run.recordings
    }
    planned = [beforehand.tasks(setup) for setup in beforehand.setups()]
    found = {recording.held.sha256 for pairs in planned for run, _ in pairs for recording in run.recordings}

    assert found == wanted


@pytest.mark.parametrize("position", [0, 1])
def test_what_is_put_there_is_what_a_page_would_have_worked_out(position):
    name = "weights" if position else "thinner"
    run, task = beforehand.tasks(examples.setup_of(name, None))[0]
    corner = task.corner
    answer = beforehand.measure(task)
    assert answer is not None
    shelf = cache._shelf()
    shelf._work.clear()
    (worked_out,) = cache.tested((run,), examples.sample_machine(), corner)
    shelf._work.clear()
    cache.put_tested(run, answer, examples.sample_machine(), corner)
    held = dict(shelf._work)

    (found,) = cache.tested((run,), examples.sample_machine(), corner)

    assert all(shelf._work[key] is work for key, work in held.items())  # nothing was worked out again
    for one, other in zip(found.fits, worked_out.fits, strict=True):
        for side in SIDES:
            assert one.side(side).secant == other.side(side).secant


def test_a_run_that_is_refused_is_left_to_the_page(tmp_path):
    bad = tmp_path / "bad.csv"
    bad.write_text("nothing here\n")

    assert beforehand.measure(beforehand.Task((bad,), tmp_path / "none.toml", None)) is None


def test_the_worker_ends_when_nobody_listens():
    mine, theirs = multiprocessing.get_context("spawn").Pipe()
    mine.close()

    workers.work(theirs)

    assert theirs.closed


def test_single_pages_start_nothing(monkeypatch):
    begun = []
    monkeypatch.setattr(beforehand, "_fetch", lambda *seen: begun.append(seen))
    beforehand.begin()

    assert begun == []


@pytest.mark.skipif(not Path("/proc/self/task").is_dir(), reason="this system does not list its processes")
def test_the_process_goes_when_the_server_goes(tmp_path, server_of_its_own):
    process, worker = server_of_its_own

    process.terminate()
    process.wait(timeout=30)
    until = time.monotonic() + 20
    while worker.exists() and "Z" not in _state(worker) and time.monotonic() < until:
        time.sleep(0.1)

    assert not worker.exists() or "Z" in _state(worker)
    assert "WARNING" not in process.stdout.read()  # it does not take the pages for its own main file


def test_a_page_finds_the_pictures_that_were_drawn_beforehand(monkeypatch):
    from streamlit.testing.v1 import AppTest

    drawn: list[str] = []
    finish = Drawing.finished

    def finished(drawing):
        drawn.append("one")
        return finish(drawing)

    monkeypatch.setattr(Drawing, "finished", finished)
    those = gallery.of_setup(examples.setup_of("thinner", None), LIGHT)
    groups = those.groups("metric")
    for group in groups:
        those.drawn(gallery.seen_first(group).name, "metric")
    before = len(drawn)
    page = AppTest.from_file(str(ROOT / "dashboard" / "app.py"), default_timeout=60)
    page.query_params.update({"page": "change", "example": "thinner"})
    page.run()

    assert not page.exception
    assert len(page.get("plotly_chart")) == len(groups)
    assert len(drawn) == before


def _state(process: Path) -> str:
    try:
        return process.joinpath("stat").read_text().rpartition(")")[2].split()[0]
    except OSError:
        return "Z"


@pytest.fixture
def server_of_its_own(tmp_path, visit_to):
    """Start a server, look at its first screen, and wait for the process that measures the examples."""
    process, address = start(folder=tmp_path)
    try:
        visit_to(address)
        until = time.monotonic() + 60
        while not (workers := _spawned_by(process.pid)) and time.monotonic() < until:
            time.sleep(0.1)
        assert workers, "no process was begun for the examples"
        yield process, workers[0]
    finally:
        process.terminate()
        process.communicate(timeout=30)


@pytest.fixture
def visit_to(browser):
    def visit(address: str) -> None:
        assert urllib.request.urlopen(f"{address}/healthy", timeout=20).status == 200
        page = browser.new_context().new_page()
        page.goto(address)
        page.get_by_role("link", name="Did my change help?", exact=True).wait_for(timeout=60_000)

    return visit


def _spawned_by(parent: int) -> list[Path]:
    found = []
    for each in Path("/proc").iterdir():
        if each.name.isdigit():
            try:
                fields = each.joinpath("stat").read_text().rpartition(")")[2].split()
                words = each.joinpath("cmdline").read_bytes()
            except OSError:
                continue
            if int(fields[1]) == parent and b"spawn_main" in words:
                found.append(each)
    return found
