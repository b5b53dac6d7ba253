"""What outlives a rerun and a reload: added bytes and finished work, both found by content.

Takes bytes, recordings and runs; gives readings, fits and jobs. Uses: tuner.jobs, units, streamlit; bench,
loading, workers.

Every key is a SHA-256 of whole bytes together with frozen settings, so that an edited copy of a file is another
file. All shelves are bounded; what was longest unused goes first. Work runs in threads beside the pages, so that a
page can say how far it is and be stopped, and two visitors who ask for the same get it once.
"""

from __future__ import annotations

import hashlib
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Hashable, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from concurrent.futures import TimeoutError as NotYet
from pathlib import PurePath
from typing import TYPE_CHECKING, Any, NamedTuple, TypeVar

import streamlit as st
from streamlit.runtime.scriptrunner import get_script_run_ctx

from dashboard import loading, workers
from dashboard.bench import Held, Recording, Run, Setup, Workbench
from tuner.errors import ReadError, TunerError
from tuner.names import find_name
from tuner.units import SHOWN, from_si

if TYPE_CHECKING:
    from tuner.comparing import Path
    from tuner.fitting.results import DampingFit
    from tuner.jobs import CompareJob, FitJob, MachineInput, MatchJob, Tested
    from tuner.machine import Corner
    from tuner.reading import Preview, Reading
    from tuner.units import System

MOST_BYTES = 3 << 29  # added files, and again what was read from them; all visitors together
MOST_WORK = 400  # readings, fits and jobs
MOST_PICTURES = 400  # on a shelf of their own: they are many and quickly drawn, a fit may take seconds
MOST_BENCHES = 2000
AT_ONCE = 2
PATIENCE = 0.3  # seconds before a page says that it is working
LATER = 0.6  # seconds before what may be wanted next is got ready

Answer = TypeVar("Answer")


class Store:
    """Bytes by their content, bounded."""

    def __init__(self, most: int) -> None:
        self._most, self._size, self._lock = most, 0, threading.Lock()
        self._bytes: OrderedDict[str, bytes] = OrderedDict()

    def put(self, data: bytes) -> str:
        """Keep bytes; give the key they are found by."""
        key = hashlib.sha256(data).hexdigest()
        with self._lock:
            if key not in self._bytes:
                self._bytes[key] = data
                self._size += len(data)
            self._bytes.move_to_end(key)
            while self._size > self._most and len(self._bytes) > 1:
                _, gone = self._bytes.popitem(last=False)
                self._size -= len(gone)
        return key

    def get(self, key: str) -> bytes | None:
        """Give bytes back, None when they are gone."""
        with self._lock:
            if key in self._bytes:
                self._bytes.move_to_end(key)
            return self._bytes.get(key)


class Shelf:
    """Work that is finished or under way, by what was asked; bounded in number and weight. Failed work is not kept."""

    def __init__(self, most: int, at_once: int, most_weight: int = MOST_BYTES) -> None:
        self._most, self._most_weight, self._lock = most, most_weight, threading.Lock()
        self._work: OrderedDict[Hashable, tuple[Future[Any], int]] = OrderedDict()
        self._pool = ThreadPoolExecutor(at_once, thread_name_prefix="bench work")

    def ask(self, key: Hashable, make: Callable[[], Answer], weight: int = 0) -> Future[Answer]:
        """Give the work of that key; it is begun when nobody has asked for it before. `weight` in bytes."""
        with self._lock:
            work, _ = self._work.get(key, (None, 0))
            if work is None or work.cancelled() or (work.done() and work.exception() is not None):
                work = self._pool.submit(_loaded, make)
                self._work[key] = (work, weight)
            self._work.move_to_end(key)
            while len(self._work) > 1 and (
                len(self._work) > self._most or self._weight() > self._most_weight
            ):
                self._work.popitem(last=False)
        return work

    def knows(self, key: Hashable) -> bool:
        """Whether the work of that key is finished or under way."""
        with self._lock:
            return key in self._work

    def put(self, key: Hashable, answer: Any, weight: int = 0) -> None:
        """Put work there that was done elsewhere, unless it is there or under way."""
        done: Future[Any] = Future()
        done.set_result(answer)
        with self._lock:
            self._work.setdefault(key, (done, weight))

    def _weight(self) -> int:
        return sum(weight for _, weight in self._work.values())


def _loaded(make: Callable[[], Answer]) -> Answer:
    loading.load()
    return make()


class Benches:
    """Workbenches by a key that holds the content of every file in it, so that nobody can guess it."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.kept: OrderedDict[str, Workbench] = OrderedDict()


@st.cache_resource(show_spinner=False)
def _benches() -> Benches:
    return Benches()


@st.cache_resource(show_spinner=False)
def _store() -> Store:
    return Store(MOST_BYTES)


@st.cache_resource(show_spinner=False)
def _shelf() -> Shelf:
    return Shelf(MOST_WORK, AT_ONCE)


@st.cache_resource(show_spinner=False)
def _pictures() -> Shelf:
    return Shelf(MOST_PICTURES, AT_ONCE)


# --- bytes -------------------------------------------------------------------------------------------------------


def hold(name: str, data: bytes) -> Held:
    """Keep added bytes; the name is that of the client, its folder is dropped."""
    return Held(PurePath(name.replace("\\", "/")).name or "file", _store().put(data), len(data))


def data_of(held: Held) -> bytes:
    """Give held bytes; raises ReadError when they are no longer kept."""
    data = _store().get(held.sha256)
    if data is None:
        raise ReadError(f"{held.name} is no longer held by this program", hint="Add the file again.")
    return data


def keep(bench: Workbench) -> str:
    """Keep a workbench; the key restores it as long as the server runs and its files are held."""
    key = hashlib.sha256(repr(bench).encode()).hexdigest()[:32]
    with _benches().lock:
        _benches().kept[key] = bench
        _benches().kept.move_to_end(key)
        while len(_benches().kept) > MOST_BENCHES:
            _benches().kept.popitem(last=False)
    return key


def kept(key: str) -> Workbench | None:
    """Give a workbench back, None when that key is not known."""
    with _benches().lock:
        return _benches().kept.get(key)


# --- work --------------------------------------------------------------------------------------------------------


def _wait(work: Mapping[str, Future[Any]]) -> None:
    """Wait until all is done; after a moment show a visitor how far it is, and a button that stops it."""
    if get_script_run_ctx(suppress_warning=True) is None:
        return  # nobody looks on
    until = time.monotonic() + PATIENCE
    for each in work.values():
        try:
            each.exception(timeout=max(until - time.monotonic(), 0.0))
        except NotYet:
            _show_work(work)
            return


def _show_work(work: Mapping[str, Future[Any]]) -> None:
    begun = time.monotonic()
    place = st.empty()
    # two works of one name may be waited for in one run; the shelf keeps each as long as it is asked for
    own = "_".join(str(id(each)) for each in work.values())
    with place.container(key=f"work_{own}"):
        line, button = st.empty(), st.empty()
        if button.button("Stop", key=f"w_stop_{own}"):
            for each in work.values():
                each.cancel()
            line.info("Stopped. A step that is under way ends in the background; what is finished is kept.")
            button.button("Go on", key="w_go_on", type="primary")
            st.stop()
        while left := [words for words, each in work.items() if not each.done()]:
            done = len(work) - len(left)
            seconds = time.monotonic() - begun
            line.progress(done / len(work), f"{left[0]} … {done} of {len(work)} done, {seconds:.0f} s")
            time.sleep(0.1)
    place.empty()


def _ask(words: str, key: Hashable, make: Callable[[], Answer], shelf: Shelf | None = None) -> Answer:
    work = (shelf or _shelf()).ask(key, make)
    _wait({words: work})
    return work.result()


def _key(run: Run, recording: Recording) -> Hashable:
    return (recording.held.name, recording.held.sha256, run.said_of(recording))


def _reading(run: Run, recording: Recording) -> Callable[[], Reading]:
    def make() -> Reading:
        from tuner.jobs import Source, read_source

        held = recording.held
        return read_source(Source(held.name, data=data_of(held)), run.said_of(recording).options())

    return make


def readings(run: Run) -> tuple[Reading | TunerError, ...]:
    """Read every recording of a run; what is refused stands in its place as the refusal."""
    shelf = _shelf()
    work = [
        shelf.ask(("reading", _key(run, r)), _reading(run, r), weight=2 * r.held.size) for r in run.recordings
    ]
    _wait({f"reading {r.held.name}": each for r, each in zip(run.recordings, work, strict=True)})
    found: list[Reading | TunerError] = []
    for each in work:
        try:
            found.append(each.result())
        except TunerError as error:
            found.append(error)
    return tuple(found)


def tested(runs: Sequence[Run], machine_held: Held | None, corner_name: str | None) -> tuple[Tested, ...]:
    """Read and fit runs, for the corner where a fit needs it; raises the first refusal."""
    from tuner.jobs import Tested, corner_of

    given = machine(machine_held)
    corner = None if given is None else corner_of(given.machine, corner_name)
    read = [_all_read(run) for run in runs]
    words: dict[str, Future[Any]] = {}
    work: list[list[Future[tuple[DampingFit, ...]]]] = []
    for run, found in zip(runs, read, strict=True):
        begun = []
        for group in _groups(run, found):
            place = (machine_held, corner_name) if group.needs_corner else None
            asked = _shelf().ask(("fit", group.keys, place), _fitting(group.readings, corner))
            words[f"fitting {' and '.join(r.record.provenance.file for r in group.readings)}"] = asked
            begun.append(asked)
        work.append(begun)
    _wait(words)
    return tuple(
        Tested(
            found,
            tuple(fit for each in begun for fit in each.result()),
            tuple(run.said_of(recording).options() for recording in run.recordings),
        )
        for run, found, begun in zip(runs, read, work, strict=True)
    )


def put_tested(run: Run, found: Tested, machine_held: Held | None, corner_name: str | None) -> None:
    """Put a run there that was read and fitted elsewhere."""
    shelf, left = _shelf(), list(found.fits)
    for recording, reading in zip(run.recordings, found.readings, strict=True):
        shelf.put(("reading", _key(run, recording)), reading, weight=2 * recording.held.size)
    for group in _groups(run, found.readings):
        place = (machine_held, corner_name) if group.needs_corner else None
        shelf.put(("fit", group.keys, place), (left.pop(0),))


class _Group(NamedTuple):
    """Readings that are fitted in one go, and whether the corner goes into that fit."""

    readings: tuple[Reading, ...]
    keys: Hashable
    needs_corner: bool


def _groups(run: Run, found: tuple[Reading, ...]) -> list[_Group]:
    from tuner.fitting import WITH_CORNER, fitted_together
    from tuner.records import kind_of

    keys = [_key(run, recording) for recording in run.recordings]
    together = fitted_together([reading.record for reading in found])
    parts = [(found, tuple(keys))] if together else [((r,), (k,)) for r, k in zip(found, keys, strict=True)]
    return [
        _Group(part, key, any(kind_of(reading.record) in WITH_CORNER for reading in part))
        for part, key in parts
    ]


def _all_read(run: Run) -> tuple[Reading, ...]:
    found = readings(run)
    for each in found:
        if isinstance(each, TunerError):
            raise each
    return tuple(each for each in found if not isinstance(each, TunerError))


def _fitting(found: tuple[Reading, ...], corner: Corner | None) -> Callable[[], tuple[DampingFit, ...]]:
    def make() -> tuple[DampingFit, ...]:
        from tuner.fitting import fitted_together
        from tuner.jobs import fit_readings

        if fitted_together([reading.record for reading in found]):  # bounces, which take seconds
            return workers.run(fit_readings, found, corner)
        return fit_readings(found, corner)

    return make


def machine(held: Held | None) -> MachineInput | None:
    """Read a machine file, None for none; raises MachineError or UnitError."""
    if held is None:
        return None
    return _ask(f"reading {held.name}", ("machine", held), _machine(held))


def first_corner(setup: Setup) -> str | None:
    """Give the corner that is chosen, the first one of the machine where none of it is, None without a machine."""
    given = machine(setup.machine)
    corners = [] if given is None else list(given.machine.corners)
    found = find_name(setup.corner or "", corners)
    return corners[found[0]] if len(found) == 1 else next(iter(corners), None)


def _machine(held: Held) -> Callable[[], MachineInput]:
    def make() -> MachineInput:
        from tuner.jobs import Source, machine_from

        return machine_from(Source(held.name, data=data_of(held)))

    return make


def asked(runs: tuple[Run, ...]) -> Hashable:
    """Give what tells these runs from all others."""
    return tuple(tuple(_key(run, recording) for recording in run.recordings) for run in runs)


def fit_job(run: Run, machine_held: Held | None, corner: str | None) -> FitJob:
    """Judge one setting; raises the library's refusals."""
    (one,), place = tested((run,), machine_held, corner), machine(machine_held)

    def make() -> FitJob:
        from tuner.jobs import judge_tested

        return judge_tested(one, place, corner)

    return _ask("judging", ("fit job", asked((run,)), machine_held, corner), make)


def compare_job(before: Run, after: Run, machine_held: Held | None, corner: str | None) -> CompareJob:
    """Compare two settings; raises the library's refusals."""
    (one, other), place = tested((before, after), machine_held, corner), machine(machine_held)

    def make() -> CompareJob:
        from tuner.jobs import compare_tested

        return compare_tested(one, other, place, corner)

    return _ask("comparing", ("compare", asked((before, after)), machine_held, corner), make)


def match_job(
    one: Run, other: Run, machine_held: Held | None, corner: str | None, tolerance: float
) -> MatchJob:
    """Hold two dampers against each other; raises the library's refusals."""
    (first, second), place = tested((one, other), machine_held, corner), machine(machine_held)

    def make() -> MatchJob:
        from tuner.jobs import match_tested

        return match_tested(first, second, place, corner, tolerance=tolerance)

    return _ask("comparing", ("match", asked((one, other)), machine_held, corner, tolerance), make)


def path(runs: tuple[Run, ...], machine_held: Held | None, corner: str | None) -> Path:
    """Lay several settings in a row; raises the library's refusals."""
    jobs = [fit_job(run, machine_held, corner) for run in runs]

    def make() -> Path:
        from tuner.comparing import path as lay

        return lay([job.judgement for job in jobs], [run.label for run in runs])

    labels = tuple(run.label for run in runs)
    return _ask("comparing", ("path", asked(runs), labels, machine_held, corner), make)


def preview(run: Run, recording: Recording) -> Preview:
    """Look at a file as it would be read; never raises for bad input."""

    def make() -> Preview:
        from tuner.reading import preview as look

        held = recording.held
        return look(data_of(held), held.name, run.said_of(recording).options())

    return _ask(f"looking at {recording.held.name}", ("preview", _key(run, recording)), make)


def warm(machine_held: Held) -> None:
    """Load in the background what the first result will need, and read the machine of the examples."""
    _shelf().ask(("warm",), _read_units)
    _shelf().ask(("machine", machine_held), _machine(machine_held))


def _read_units() -> None:
    for shown in SHOWN.values():  # what reads units takes its time for the first of each
        for kind, style in shown.items():
            from_si(0.0, kind, style.unit)


def drawn(key: Hashable, make: Callable[[], Answer]) -> Answer:
    """Keep a picture or a text that a job gives; `key` must hold all that it depends on."""
    return _ask("drawing", key, make, _pictures())


def drawn_in(system: System, key: Hashable, make: Callable[[System], Answer]) -> Answer:
    """Keep a picture in one system of units; the other one, a click away, is drawn once the page is likely to stand."""
    other: System = "us" if system == "metric" else "metric"
    answer = drawn((key, system), lambda: make(system))
    wanted, shelf = (key, other), _pictures()
    if workers.serving() and not shelf.knows(wanted):
        after = threading.Timer(LATER, shelf.ask, (wanted, lambda: make(other)))
        after.daemon = True
        after.start()
    return answer
