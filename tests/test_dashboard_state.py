"""What the dashboard keeps: bytes and work by content, bounded; a session that hashes, pickles and comes back."""

from __future__ import annotations

import pickle
from concurrent.futures import Future

import pytest
from cachetools import LRUCache

from dashboard import cache, examples, launch, pool
from dashboard.session import Held, Recording, Run, Said, Session
from tuner.errors import FitError, ReadError


def recording(name: str = "a.csv", mark: str = "1") -> Recording:
    return Recording(Held(name, mark * 64, 10))


@pytest.fixture
def caches(monkeypatch):
    """Empty caches of small size, for this test alone."""
    for name, size, weigh in (
        ("_bytes", 10, len),
        ("_work", 100, lambda work: work.weight),
        ("_results", 3, None),
    ):
        monkeypatch.setattr(cache, name, LRUCache(size, getsizeof=weigh))
    monkeypatch.setattr(cache, "MOST_BYTES", 100)
    monkeypatch.setattr(cache, "LEAST_WEIGHT", 1)


def begin(key: str, made: list[str], weight: int = 0) -> Future:
    """Begin work of that key that notes that it was done."""

    def work() -> str:
        made.append(key)
        return key

    return cache._begin(key, weight, lambda: pool.submit(work))


def test_bytes_are_found_by_their_content(caches):
    first = cache.hold("a.csv", b"abc")

    assert first == cache.hold("a.csv", b"abc") != cache.hold("a.csv", b"abd")
    assert cache.data_of(first) == b"abc"


def test_full_caches_let_go_of_what_was_longest_unused(caches):
    first, second = cache.hold("a", b"12345"), cache.hold("b", b"67890")
    cache.data_of(first)
    cache.hold("c", b"abcde")

    assert cache.data_of(first) == b"12345"
    with pytest.raises(ReadError, match="no longer held"):
        cache.data_of(second)


def test_the_largest_file_that_can_be_added_is_held():
    assert launch.UPLOAD_MB << 20 <= cache.MOST_BYTES == cache._bytes.maxsize


def test_bytes_that_are_gone_are_refused_with_a_hint():
    with pytest.raises(ReadError, match=r"gone\.csv is no longer held") as refused:
        cache.data_of(Held("gone.csv", "f" * 64, 3))

    assert refused.value.hint == "Add the file again."


@pytest.mark.parametrize(
    ("given", "kept"),
    [
        ("../../etc/passwd", "passwd"),
        ("C:\\bench\\run 1.csv", "run 1.csv"),
        ("", "file"),
        ("..", ".."),
    ],
)
def test_a_name_from_outside_keeps_no_folder(given, kept):
    assert cache.hold(given, b"x").name == kept


def test_the_same_work_is_done_once_for_all_who_ask(caches):
    under_way: Future = Future()
    begun: list[int] = []

    def submit() -> Future:
        begun.append(1)
        return under_way

    asked = [cache._begin("key", 0, submit) for _ in range(5)]
    under_way.set_result("read")

    assert begun == [1]
    assert [each.result(5) for each in asked] == ["read"] * 5


def test_failed_and_stopped_work_is_begun_again(caches):
    refused, stopped, done = pool.failed(ReadError("not yet")), Future(), Future()
    stopped.cancel()
    done.set_result("read")
    tries = iter([refused, stopped, done])

    with pytest.raises(ReadError):
        cache._begin("key", 0, lambda: next(tries)).result(5)
    assert cache._begin("key", 0, lambda: next(tries)).cancelled()
    assert cache._begin("key", 0, lambda: next(tries)).result(5) == "read"


def test_work_that_another_visitor_stopped_is_refused_with_a_sentence():
    stopped: Future = Future()
    stopped.cancel()

    with pytest.raises(FitError, match="was stopped"):
        cache._answer(stopped)


def test_results_are_bounded_and_made_once(caches):
    made: list[int] = []
    for i in (0, 1, 2, 3, 4, 4, 0):
        cache._once(cache._results, i, lambda i=i: made.append(i))

    assert made == [0, 1, 2, 3, 4, 0]


def test_figures_do_not_push_off_what_took_seconds():
    """An example with a bounce that was fitted once was fitted again, 5 s, after many figures had been looked at."""
    read = cache.machine(examples.sample_machine())
    for i in range(cache.MOST_RESULTS + cache.MOST_FIGURES):
        cache.figure(("a figure", i), lambda i=i: i)

    assert cache.machine(examples.sample_machine()) is read


def test_heavy_work_pushes_out_what_was_longest_unused(caches):
    made: list[str] = []
    for name, weight in (
        ("light", 1),
        ("heavy", 90),
        ("too heavy", 1000),
        ("too heavy", 1000),
        ("heavy", 90),
    ):
        assert begin(name, made, weight).result(5) == name

    assert made == ["light", "heavy", "too heavy", "heavy"]


def test_a_session_hashes_and_pickles():
    session = Session(change=(Run("before", (recording(),), (("oil", "thin"),)), Run("after")))

    assert pickle.loads(pickle.dumps(session)) == session
    assert hash(session) == hash(pickle.loads(pickle.dumps(session)))


def test_a_session_comes_back_by_its_key_and_by_no_other():
    session = Session(one=(Run("record", (recording(mark="2"),)),))

    assert cache.kept(cache.keep(session)) == session
    assert cache.kept("0" * 32) is None
    assert cache.keep(session) != cache.keep(Session(one=(Run("record", (recording(mark="3"),)),)))


def test_the_key_of_a_file_opens_no_session():
    """Bytes of a visitor are never taken for anything but bytes."""
    held = cache.hold("trap.csv", pickle.dumps(Session()))

    assert cache.kept(held.sha256) is None
    assert cache.kept(held.sha256[:32]) is None


def test_a_recording_is_added_once():
    run = Run("before").with_recordings(recording(), recording("again.csv"), recording("other.csv", "2"))

    assert [each.held.name for each in run.recordings] == ["a.csv", "other.csv"]
    assert run.with_recordings(recording()) == run


def test_a_recording_overrules_what_is_noted_of_its_run():
    one = Recording(Held("a.csv", "1" * 64, 1), Said(settings=(("temperature", "30 degC"),)))
    run = Run("before", (one,), (("oil", "thin"), ("temperature", "20 degC")))

    assert dict(run.said_of(one).settings) == {"oil": "thin", "temperature": "30 degC"}
    assert run.said_of(one).options().settings["temperature"] == "30 degC"


def test_taking_away_and_saying_leave_the_others_alone():
    run = Run("before").with_recordings(recording(), recording("b.csv", "2"))

    assert [r.held.name for r in run.without(0).recordings] == ["b.csv"]
    assert run.with_said(1, Said(kind="sweep")).recordings[0] == run.recordings[0]
    assert run.with_said(1, Said(kind="sweep")).recordings[1].said.kind == "sweep"


@pytest.mark.parametrize("typed", ["front left", "Front Left", "front_left", "FRONT-LEFT"])
def test_a_corner_in_the_address_is_found_however_it_is_typed(typed):
    setup = examples.setup_of(next(iter(examples.EXAMPLES)), typed)

    assert cache.first_corner(setup) == "front left"


def test_a_corner_that_the_machine_has_not_gives_way_to_its_first():
    setup = examples.setup_of(next(iter(examples.EXAMPLES)), "middle")

    assert cache.first_corner(setup) == "rear left"
