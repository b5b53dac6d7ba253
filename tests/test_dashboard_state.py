"""What the dashboard keeps: bytes and work by content, bounded; a workbench that hashes, pickles and comes back."""

from __future__ import annotations

import pickle
import threading
import time

import pytest

from dashboard import cache, examples
from dashboard.session import Held, Recording, Run, Said, Session
from tuner.errors import ReadError


def recording(name: str = "a.csv", mark: str = "1") -> Recording:
    return Recording(Held(name, mark * 64, 10))


def test_bytes_are_found_by_their_content():
    store = cache.Store(most=100)

    assert store.put(b"abc") == store.put(b"abc") != store.put(b"abd")
    assert store.get(store.put(b"abc")) == b"abc"
    assert store.get("0" * 64) is None


def test_a_full_store_lets_go_of_what_was_longest_unused():
    store = cache.Store(most=10)
    first, second = store.put(b"12345"), store.put(b"67890")
    store.get(first)
    store.put(b"abcde")

    assert store.get(first) == b"12345"
    assert store.get(second) is None


def test_one_file_may_be_larger_than_the_store():
    store = cache.Store(most=3)

    assert store.get(store.put(b"12345")) == b"12345"


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


def test_the_same_work_is_done_once_for_all_who_ask():
    shelf = cache.Shelf(most=10, at_once=2)
    done: list[int] = []
    gate = threading.Event()

    def make() -> int:
        gate.wait(5)
        done.append(1)
        return len(done)

    asked = [shelf.ask("key", make) for _ in range(5)]
    gate.set()

    assert [each.result(5) for each in asked] == [1] * 5


def test_failed_work_is_tried_again():
    shelf = cache.Shelf(most=10, at_once=1)
    tries: list[int] = []

    def make() -> str:
        tries.append(1)
        if len(tries) == 1:
            raise ReadError("not yet")
        return "read"

    with pytest.raises(ReadError):
        shelf.ask("key", make).result(5)

    assert shelf.ask("key", make).result(5) == "read"


def test_the_shelf_is_bounded():
    shelf = cache.Shelf(most=3, at_once=1)
    made: list[int] = []

    def make(i: int):
        def work() -> int:
            made.append(i)
            return i

        return work

    for i in range(5):
        shelf.ask(i, make(i)).result(5)
    shelf.ask(4, make(4)).result(5)
    shelf.ask(0, make(0)).result(5)

    assert made == [0, 1, 2, 3, 4, 0]


def test_pictures_do_not_push_off_what_took_seconds():
    """An example with a bounce that was fitted once was fitted again, 5 s, after many pictures had been looked at."""
    machine = examples.sample_machine()
    read = cache.machine(machine)
    for i in range(cache.MOST_WORK + cache.MOST_PICTURES):
        cache.drawn(("a picture", i), lambda i=i: i)

    assert cache.machine(machine) is read


def test_heavy_work_pushes_out_what_was_longest_unused():
    shelf = cache.Shelf(most=10, at_once=1, most_weight=100)
    made: list[str] = []

    def make(name: str):
        def work() -> str:
            made.append(name)
            return name

        return work

    for name, weight in (("light", 1), ("heavy", 90), ("heavier", 99)):
        shelf.ask(name, make(name), weight).result(5)
    shelf.ask("heavier", make("heavier"), 99).result(5)
    shelf.ask("heavy", make("heavy"), 90).result(5)

    assert made == ["light", "heavy", "heavier", "heavy"]


def test_a_workbench_hashes_and_pickles():
    bench = Session(change=(Run("before", (recording(),), (("oil", "thin"),)), Run("after")))

    assert pickle.loads(pickle.dumps(bench)) == bench
    assert hash(bench) == hash(pickle.loads(pickle.dumps(bench)))


def test_a_workbench_comes_back_by_its_key_and_by_no_other():
    bench = Session(one=(Run("record", (recording(mark="2"),)),))

    assert cache.kept(cache.keep(bench)) == bench
    assert cache.kept("0" * 32) is None
    assert cache.keep(bench) != cache.keep(Session(one=(Run("record", (recording(mark="3"),)),)))


def test_the_key_of_a_file_opens_no_workbench():
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


def test_work_under_way_does_not_hold_up_the_asking():
    shelf = cache.Shelf(most=10, at_once=1)
    gate = threading.Event()
    begun = time.monotonic()
    slow = shelf.ask("slow", lambda: gate.wait(5))
    shelf.ask("next", lambda: 1)

    assert time.monotonic() - begun < 5
    gate.set()
    assert slow.result(5) is True
