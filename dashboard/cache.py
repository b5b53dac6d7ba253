"""What outlives a rerun and a reload: added bytes, sessions and results, in bounded caches, all found by content.

Every key holds the SHA-256 of whole files together with frozen settings, so that an edited copy of a file is another
file, and two visitors who ask for the same get it worked out once. What was longest unused goes first.
"""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Callable, Hashable, Mapping, Sequence
from concurrent.futures import CancelledError, Future
from concurrent.futures.process import BrokenProcessPool
from functools import partial
from pathlib import PurePath
from typing import TYPE_CHECKING, Any, NamedTuple, TypeVar

from cachetools import LRUCache

from dashboard import pool, progress
from dashboard.session import Held, Recording, Run, Session, Setup
from tuner import comparing, jobs, reading
from tuner.errors import FitError, ReadError, TunerError
from tuner.fitting import fitted_together
from tuner.kinds import WITH_CORNER, kind_of
from tuner.machine.form import FormRead, MachineForm, read_form
from tuner.names import find_name

if TYPE_CHECKING:
    from tuner.fitting.results import Fit
    from tuner.jobs import CompareJob, FitJob, MachineInput, MatchJob, Tested
    from tuner.reading import Preview, Reading

MOST_BYTES = 3 << 29  # added files, and again what was read from them; all visitors together
LEAST_WEIGHT = 1 << 20  # of a reading or a fit, so that they are bounded in number too
MOST_RESULTS = 400
MOST_FIGURES = 400
MOST_SESSIONS = 2000

Answer = TypeVar("Answer")
Wait = Callable[[Mapping[str, Future[Any]]], object]  # for work, each named by what it does


class Work(NamedTuple):
    """Reading or fitting, under way or done, and what it weighs in bytes."""

    future: Future[Any]
    weight: int


_lock = threading.RLock()
_bytes: LRUCache[str, bytes] = LRUCache(MOST_BYTES, getsizeof=len)
_sessions: LRUCache[str, Session] = LRUCache(MOST_SESSIONS)
_work: LRUCache[Hashable, Work] = LRUCache(MOST_BYTES, getsizeof=lambda work: work.weight)
_results: LRUCache[Hashable, Any] = LRUCache(MOST_RESULTS)
_figures: LRUCache[Hashable, Any] = LRUCache(MOST_FIGURES)


# --- bytes and sessions ------------------------------------------------------------------------------------------


def hold(name: str, data: bytes) -> Held:
    """Keep added bytes; the name is that of the client, its folder is dropped."""
    key = hashlib.sha256(data).hexdigest()
    with _lock:
        _bytes[key] = data
    return Held(PurePath(name.replace("\\", "/")).name or "file", key, len(data))


def data_of(held: Held) -> bytes:
    """Give held bytes; raises ReadError when they are no longer kept."""
    with _lock:
        data = _bytes.get(held.sha256)
    if data is None:
        raise ReadError(f"{held.name} is no longer held by this program", hint="Add the file again.")
    return data


def holds(held: Held) -> bool:
    """Whether these bytes are still kept."""
    with _lock:
        return held.sha256 in _bytes


def keep(session: Session) -> str:
    """Keep a session; the key holds the content of all its files, so that nobody can guess it."""
    key = hashlib.sha256(repr(session).encode()).hexdigest()[:32]
    with _lock:
        _sessions[key] = session
    return key


def kept(key: str) -> Session | None:
    """Give a session back, None when that key is not known."""
    with _lock:
        return _sessions.get(key)


# --- work of the pool --------------------------------------------------------------------------------------------


def readings(run: Run, wait: Wait = progress.wait_for) -> tuple[Reading | TunerError, ...]:
    """Read every recording of a run; what is refused stands in its place as the refusal."""
    begun = [_begin_reading(run, recording) for recording in run.recordings]
    wait({f"reading {r.held.name}": each for r, each in zip(run.recordings, begun, strict=True)})
    return tuple(_answer_or_refusal(each) for each in begun)


def fitted(
    runs: Sequence[Run],
    machine_held: Held | None,
    corner_name: str | None,
    wait: Wait = progress.wait_for,
) -> tuple[Tested, ...]:
    """Read and fit runs, for the corner where a fit needs it; raises the first refusal."""
    given = machine(machine_held)
    corner = None if given is None else jobs.corner_of(given.machine, corner_name)
    read = [_all_read(run, wait) for run in runs]
    begun: list[list[Future[tuple[Fit, ...]]]] = []
    words: dict[str, Future[Any]] = {}
    for run, found in zip(runs, read, strict=True):
        begun.append([])
        for part, keys in _fitted_parts(run, found):
            needs = any(kind_of(each.record) in WITH_CORNER for each in part)
            key = ("fit", keys, (machine_held, corner_name) if needs else None)
            fit = _begin(key, 0, partial(pool.submit, jobs.fit_readings, part, corner))
            words[f"fitting {' and '.join(each.record.provenance.file for each in part)}"] = fit
            begun[-1].append(fit)
    wait(words)
    return tuple(
        jobs.Tested(
            found,
            tuple(fit for each in fits for fit in _answer(each)),
            tuple(run.said_of(recording).options() for recording in run.recordings),
        )
        for run, found, fits in zip(runs, read, begun, strict=True)
    )


def _begin(key: Hashable, weight: int, submit: Callable[[], Future[Answer]]) -> Future[Answer]:
    """Give the work of that key; it is begun where nobody has, and again where it was stopped or has failed."""
    with _lock:
        work = _work.get(key)
        if work is None or work.future.cancelled() or (work.future.done() and work.future.exception()):
            work = Work(submit(), min(weight + LEAST_WEIGHT, MOST_BYTES))
            _work[key] = work
        return work.future


def _begin_reading(run: Run, recording: Recording) -> Future[Reading]:
    held, options = recording.held, run.said_of(recording).options()

    def submit() -> Future[Reading]:
        try:
            source = jobs.Source(held.name, data=data_of(held))
        except ReadError as gone:
            return pool.failed(gone)
        return pool.submit(jobs.read_source, source, options)

    return _begin(("reading", _key(run, recording)), 2 * held.size, submit)


def _all_read(run: Run, wait: Wait) -> tuple[Reading, ...]:
    found = readings(run, wait)
    for each in found:
        if isinstance(each, TunerError):
            raise each
    return tuple(each for each in found if not isinstance(each, TunerError))


def _fitted_parts(
    run: Run, found: tuple[Reading, ...]
) -> list[tuple[tuple[Reading, ...], tuple[Hashable, ...]]]:
    """Give the readings that are fitted in one go, with their keys."""
    keys = tuple(_key(run, recording) for recording in run.recordings)
    if fitted_together([each.record for each in found]):
        return [(found, keys)]
    return [((each,), (key,)) for each, key in zip(found, keys, strict=True)]


def _answer(work: Future[Answer]) -> Answer:
    """Give the answer of work that is done; that it was stopped, or its process ended, is a refusal."""
    try:
        return work.result()
    except CancelledError as stopped:  # by another visitor who waited for the same
        raise FitError(
            "This was stopped before it began", hint="Reload the page to begin it again."
        ) from stopped
    except BrokenProcessPool as gone:
        raise FitError(
            "The process that worked on this was ended from outside, as happens when memory runs out",
            hint="Reload the page to try again; a shorter recording needs less.",
        ) from gone


def _answer_or_refusal(work: Future[Reading]) -> Reading | TunerError:
    try:
        return _answer(work)
    except TunerError as refusal:
        return refusal


# --- results, made on the spot -----------------------------------------------------------------------------------


def _once(cache: LRUCache[Hashable, Any], key: Hashable, make: Callable[[], Answer]) -> Answer:
    """Give what was made under that key, else make it; what raises is not kept."""
    with _lock:
        if key in cache:
            return cache[key]  # type: ignore[no-any-return]
    made = make()
    with _lock:
        cache[key] = made
    return made


def _key(run: Run, recording: Recording) -> Hashable:
    return (recording.held.name, recording.held.sha256, run.said_of(recording))


def asked(runs: tuple[Run, ...]) -> Hashable:
    """Give what tells these runs from all others."""
    return tuple(tuple(_key(run, recording) for recording in run.recordings) for run in runs)


def machine(held: Held | None) -> MachineInput | None:
    """Read a machine file, None for none; raises MachineError or UnitError."""
    if held is None:
        return None
    return _once(
        _results, ("machine", held), lambda: jobs.machine_from(jobs.Source(held.name, data=data_of(held)))
    )


def first_corner(setup: Setup) -> str | None:
    """Give the corner that is chosen, the first one of the machine where none of it is, None without a machine."""
    given = machine(setup.machine)
    corners = [] if given is None else list(given.machine.corners)
    found = find_name(setup.corner or "", corners)
    return corners[found[0]] if len(found) == 1 else next(iter(corners), None)


def fit_job(run: Run, machine_held: Held | None, corner: str | None) -> FitJob:
    """Judge one setting; raises the library's refusals."""
    (one,), place = fitted((run,), machine_held, corner), machine(machine_held)
    key = ("fit", asked((run,)), machine_held, corner)
    return _once(_results, key, lambda: jobs.judge_tested(one, place, corner))


def compare_job(before: Run, after: Run, machine_held: Held | None, corner: str | None) -> CompareJob:
    """Compare two settings; raises the library's refusals."""
    (one, other), place = fitted((before, after), machine_held, corner), machine(machine_held)
    key = ("compare", asked((before, after)), machine_held, corner)
    return _once(_results, key, lambda: jobs.compare_tested(one, other, place, corner))


def match_job(
    one: Run, other: Run, machine_held: Held | None, corner: str | None, tolerance: float
) -> MatchJob:
    """Hold two dampers against each other; raises the library's refusals."""
    (first, second), place = fitted((one, other), machine_held, corner), machine(machine_held)
    key = ("match", asked((one, other)), machine_held, corner, tolerance)
    return _once(_results, key, lambda: jobs.match_tested(first, second, place, corner, tolerance=tolerance))


def path(runs: tuple[Run, ...], machine_held: Held | None, corner: str | None) -> comparing.Path:
    """Lay several settings in a row; raises the library's refusals."""
    fits, labels = [fit_job(run, machine_held, corner) for run in runs], [run.label for run in runs]
    key = ("path", asked(runs), tuple(labels), machine_held, corner)
    return _once(_results, key, lambda: comparing.path([fit.judgement for fit in fits], labels))


def preview(run: Run, recording: Recording) -> Preview:
    """Look at a file as it would be read; raises ReadError only where it is no longer held."""
    held, options = recording.held, run.said_of(recording).options()
    key = ("preview", _key(run, recording))
    return _once(_results, key, lambda: reading.preview(data_of(held), held.name, options))


def form_read(given: MachineForm) -> FormRead:
    """Read a machine as it is typed."""
    return _once(_results, ("form", given), lambda: read_form(given))


def figure(key: Hashable, make: Callable[[], Answer]) -> Answer:
    """Give a figure; `key` holds all that it depends on."""
    return _once(_figures, key, make)
