"""The main job from files to comparison, for both doors: what it holds, and what it refuses."""

from __future__ import annotations

import hashlib
import math
from pathlib import Path

import pytest

from tests import builders
from tuner.errors import InputRefused, MachineError, UsageError
from tuner.estimates import Note
from tuner.jobs import Source, compare_job, fit_job, machine_from, match_job
from tuner.reading import ReadOptions
from tuner.wording.doubts import note_text

MACHINE = """
name = "one corner"
[corners.rear]
sprung_mass = "100 kg"
spring_rate = "25 N/mm"
motion_ratio = 0.8
[target]
compression = [0.20, 0.35]
rebound = [0.45, 0.75]
speed = "0.26 m/s"
"""
# k_wheel = 25e3 * 0.64 = 16e3 N/m; c_crit = 2 sqrt(16e3 * 100); zeta = c * 0.64 / c_crit, by hand
ZETA_OF_ONE = 0.64 / (2.0 * math.sqrt(16e3 * 100.0))


def sweep(compression: float, rebound: float, name: str = "sweep.csv") -> Source:
    """A bench sheet of a damper whose force is in proportion to speed, in N*s/m."""
    speeds = (0.05, 0.1, 0.2, 0.3, 0.4, 0.5)
    rows = [f"{v},{compression * v:.3f},{rebound * v:.3f}" for v in speeds]
    text = "speed (m/s),compression force (N),rebound force (N)\n" + "\n".join(rows) + "\n"
    return Source(name, data=text.encode())


def machine(text: str = MACHINE):
    return machine_from(Source("machine.toml", data=text.encode()))


def test_a_fit_job_gives_the_damping_of_the_sheet():
    job = fit_job([sweep(1500.0, 3000.0)])

    assert job.fit.compression.secant_at(0.26).contains(1500.0)
    assert job.fit.rebound.secant_at(0.26).contains(3000.0)
    assert job.machine is None
    assert job.corner_name is None


def test_the_ratio_is_that_of_the_handbook():
    """zeta = c r^2 / (2 sqrt(k m)), worked out by hand above (Rao, *Mechanical Vibrations*, sec. 2.6)."""
    job = fit_job([sweep(1500.0, 3000.0)], machine=machine())

    assert job.judgement.rebound.at_target.zeta.contains(3000.0 * ZETA_OF_ONE)
    assert job.corner_name == "rear"


def test_a_compare_job_says_which_way_a_change_went():
    """2400 N*s/m is inside the band, 1200 below it: the change leads away from the target."""
    job = compare_job([sweep(1500.0, 2400.0)], [sweep(1500.0, 1200.0)], machine=machine())
    rebound = job.comparison.rebound

    assert 0.45 < 2400.0 * ZETA_OF_ONE < 0.75
    assert 1200.0 * ZETA_OF_ONE < 0.45
    assert rebound.verdict == "away"
    assert rebound.at_target.ratio.contains(0.5)
    assert job.comparison.compression.verdict == "no clear change"
    assert job.before.fit is job.comparison.before.fit
    assert job.after.judgement is job.comparison.after


def test_a_match_job_finds_the_side_that_is_off():
    job = match_job([sweep(1500.0, 3000.0)], [sweep(1500.0, 2000.0)])

    assert job.match.matched is False
    assert job.match.rebound.matched is False


def test_a_wide_tolerance_does_not_refuse_what_a_narrow_one_does():
    pair = [sweep(1500.0, 3000.0)], [sweep(1500.0, 2500.0)]

    assert match_job(*pair, tolerance=0.05).match.matched is False
    assert match_job(*pair, tolerance=0.40).match.matched is True


def test_two_equal_sheets_are_matched_though_friction_is_unknown():
    """What peak forces leave open of friction and gas force is open by the same amount in both."""
    job = match_job([sweep(1500.0, 3000.0)], [sweep(1500.0, 3000.0)])

    assert job.match.matched is True
    for side in (job.match.compression, job.match.rebound):
        assert all(at.ratio.value == pytest.approx(1.0, abs=1e-9) for at in side.ratio)


def test_a_straight_sheet_is_a_straight_line():
    """Friction may have been taken off that was not there; it must not bend the line, nor hide its slope."""
    fit = fit_job([sweep(1500.0, 3000.0)]).fit

    for side, wanted in ((fit.compression, 1500.0), (fit.rebound, 3000.0)):
        assert side.law.name == "line"
        assert side.parameters["c"].value == pytest.approx(wanted, rel=2e-3)
        assert side.parameters["c"].contains(wanted)


@pytest.mark.parametrize("tolerance", [0.0, 1.0, -0.1, math.nan])
def test_a_tolerance_outside_its_range_is_refused(tolerance):
    with pytest.raises(UsageError, match="tolerance"):
        match_job([sweep(1.0, 1.0)], [sweep(1.0, 1.0)], tolerance=tolerance)


def test_several_sources_are_repeats():
    runs = [sweep(1500.0, 3000.0, "run1.csv"), sweep(1600.0, 3000.0, "run2.csv")]
    job = fit_job(runs)

    assert job.fit.runs == 2
    assert len(job.fits) == len(job.readings) == 2
    assert [name for name, _ in job.decided] == ["run1.csv", "run2.csv"]
    middle = math.sqrt(1500.0 * 1600.0)  # the mean on logarithms
    assert job.fit.compression.secant_at(0.26).contains(middle)


def test_a_path_and_its_bytes_give_the_same(tmp_path: Path):
    source = sweep(1500.0, 3000.0)
    path = tmp_path / "sweep.csv"
    path.write_bytes(source.data)
    one, other = fit_job([source]), fit_job([Source("sweep.csv", path=path)])

    assert one.fit.rebound.secant == other.fit.rebound.secant
    assert one.fit.inputs[0].sha256 == other.fit.inputs[0].sha256 == hashlib.sha256(source.data).hexdigest()


def test_the_machine_input_remembers_its_file():
    given = machine()

    assert given.machine.name == "one corner"
    assert given.provenance.file == "machine.toml"
    assert given.provenance.sha256 == hashlib.sha256(MACHINE.encode()).hexdigest()


def test_each_side_may_have_options_of_its_own():
    """The second bench counts in pounds: 1 lbf = 4.4482216152605 N by definition."""
    metric = sweep(1500.0, 3000.0)
    bare = metric.data.decode().replace(" (m/s)", "").replace(" (N)", "")
    units = {"velocity": "m/s", "compression_force": "lbf", "rebound_force": "lbf"}
    job = compare_job(
        [metric], [Source("second.csv", data=bare.encode())], ReadOptions(), ReadOptions(units=units)
    )

    assert job.comparison.rebound.at_target.ratio.contains(4.4482216152605)
    assert job.before.options != job.after.options


def test_one_corner_needs_no_name_but_two_do():
    two = MACHINE.replace(
        "[target]", MACHINE[MACHINE.index("[corners") : MACHINE.index("[target")] + "[target]"
    )
    two = two.replace("[corners.rear]", "[corners.front]", 1)

    assert fit_job([sweep(1.5e3, 3e3)], machine=machine()).corner_name == "rear"
    with pytest.raises(UsageError, match="2 corners") as refusal:
        fit_job([sweep(1.5e3, 3e3)], machine=machine(two))
    assert "'front'" in refusal.value.hint
    assert "'rear'" in refusal.value.hint


def test_a_corner_without_a_machine_is_refused():
    with pytest.raises(UsageError, match="needs a machine"):
        fit_job([sweep(1.5e3, 3e3)], corner_name="rear")


def test_no_file_at_all_is_refused():
    with pytest.raises(UsageError, match="at least one file"):
        compare_job([sweep(1.5e3, 3e3)], [])


def test_a_machine_file_that_is_not_there_is_refused():
    with pytest.raises(MachineError, match="cannot be read") as refusal:
        machine_from(Source("no_such.toml"))
    assert refusal.value.hint


def test_what_a_reader_refuses_comes_through():
    with pytest.raises(InputRefused):
        fit_job([Source("empty.csv", data=b"")])


def test_progress_is_told_before_each_step():
    told: list[str] = []
    compare_job([sweep(1.5e3, 3e3, "a.csv")], [sweep(1.5e3, 3e3, "b.csv")], progress=told.append)

    assert told == ["reading a.csv", "fitting a.csv", "reading b.csv", "fitting b.csv", "comparing"]


def test_a_doubt_of_one_side_says_which():
    """What both sides share is said once, as it stands."""
    own, shared = Note("velocity-differs"), Note("one-line")
    job = builders.compare_job(
        [builders.bench_fit(notes=(own, shared))], [builders.after_fit(notes=(shared,))]
    )
    texts = [note_text(note) for note in job.notes]

    assert texts.count(f"before: {note_text(own)}") == 1
    assert texts.count(note_text(shared)) == 1
    assert not any(text.endswith(f": {note_text(shared)}") for text in texts)


def test_a_match_does_not_ask_for_what_it_does_not_use():
    """Two dampers are held against each other: neither a corner nor a target is missing."""
    job = match_job([sweep(1.5e3, 3e3)], [sweep(1.5e3, 3e3)])

    assert {"no-corner", "no-target"} & {note.code for note in job.one.notes}
    assert not {"no-corner", "no-target"} & {note.code for note in job.notes}


def test_a_recording_is_no_repeat_of_itself():
    with pytest.raises(UsageError, match=r"copy\.csv holds the same bytes as sweep\.csv"):
        fit_job([sweep(1.5e3, 3e3), sweep(1.5e3, 3e3, "copy.csv")])


def test_one_recording_on_both_sides_is_said():
    same = compare_job([sweep(1.5e3, 3e3)], [sweep(1.5e3, 3e3, "copy.csv")])
    other = compare_job([sweep(1.5e3, 3e3)], [sweep(1.5e3, 3.1e3)])

    assert [note_text(note) for note in same.notes if note.code == "same-file"] == [
        "the same recording stands on both sides (sweep.csv, copy.csv), so no change can be seen"
    ]
    assert "same-file" not in {note.code for note in other.notes}


def test_a_machine_that_does_not_fit_together_is_said_once_with_every_result():
    upside_down = MACHINE.replace("motion_ratio = 0.8", "motion_ratio = 1.4")
    one, other = sweep(1000.0, 2000.0, "a.csv"), sweep(1300.0, 2100.0, "b.csv")

    alone = fit_job([one], machine=machine(upside_down))
    both = compare_job([one], [other], machine=machine(upside_down))

    for job in (alone, both):
        told = [note for note in job.notes if note.code == "ratio-inverted"]
        assert len(told) == 1
        assert note_text(told[0]).startswith("motion_ratio of corner")
    assert "ratio-inverted" not in {note.code for note in fit_job([one], machine=machine()).notes}
