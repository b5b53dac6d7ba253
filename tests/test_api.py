"""Fit, compare and match from Python: the numbers of the command line, short forms, frames, pictures, refusals."""

from __future__ import annotations

import json
import math
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import tuner as package
from tuner.api import given
from tuner.api.views import html_of
from tuner.errors import FitError, MachineError, ReadError, TunerError, UsageError
from tuner.estimates import Estimate
from tuner.exchange import compare_csv, compare_value, fit_csv, fit_value, match_value
from tuner.wording import Headline, Table, change_summary, pair_summary

SAMPLES = Path(__file__).resolve().parents[1] / "sample_data"
MACHINE = SAMPLES / "dune_hopper.toml"
BEFORE = [SAMPLES / f"rear_left_before_run{run}.csv" for run in (1, 2)]
AFTER = [SAMPLES / f"rear_left_after_draining_run{run}.csv" for run in (1, 2)]
PAIR = SAMPLES / "pair_rear_left.csv", SAMPLES / "pair_rear_right.csv.gz"
DRIVES = SAMPLES / "drive_rear_before.csv", SAMPLES / "drive_rear_after.csv"
JUMPS = SAMPLES / "jump_before.csv", SAMPLES / "jump_after.csv"
BOUNCES = SAMPLES / "bounce_rear_before.csv", SAMPLES / "bounce_rear_after_draining.csv"
HUNG = SAMPLES / "front_left_hung_weights.csv"
PLACE = ("--machine", MACHINE, "--corner", "rear left")


@pytest.fixture(scope="module")
def machine():
    return package.read_machine_file(MACHINE)


@pytest.fixture(scope="module")
def change(machine):
    """Repeats on both sides, on the corner."""
    return package.compare(
        package.fit(BEFORE, machine=machine, corner="rear left"),
        package.fit(AFTER, machine=machine, corner="rear left"),
    )


@pytest.fixture(scope="module")
def drives(machine):
    return package.compare(*DRIVES, machine=machine, corner="rear left")


@pytest.fixture(scope="module")
def jumps():
    return package.compare(*JUMPS)


@pytest.fixture(scope="module")
def bounces(machine):
    return package.compare(*BOUNCES, machine=machine, corner="rear left")


@pytest.fixture(scope="module")
def pair():
    return package.match(*PAIR)


def plain(value):
    return json.loads(json.dumps(value))


def test_a_fit_says_what_the_command_says(tuner, machine):
    said = json.loads(tuner("fit", *BEFORE, *PLACE, "--json").out)

    result = package.fit(BEFORE, machine=machine, corner="rear left")

    assert plain(fit_value(result.judgement, result.notes)) == said


def test_a_comparison_says_what_the_command_says(tuner, change):
    said = json.loads(tuner("compare", "--before", *BEFORE, "--after", *AFTER, *PLACE, "--json").out)

    assert plain(compare_value(change.comparison, change_summary(change.comparison), change.notes)) == said


def test_a_match_says_what_the_command_says(tuner, pair):
    said = json.loads(tuner("match", "--one", PAIR[0], "--other", PAIR[1], "--json").out)
    names = ("the one", "the other")

    assert plain(match_value(pair.match, said["summary"], pair.notes)) == said
    assert pair.matched is said["matched"]
    assert pair_summary(pair.match, names).startswith("Not matched")


def test_bounces_fitted_one_by_one_are_compared_as_one_setting(machine, bounces, monkeypatch):
    """The command fits all bounces of a setting at once; so does a list of single fits."""
    fitted = []
    one = bounces.before.job.fits
    monkeypatch.setattr(
        given, "fit_readings", lambda readings, corner: fitted.append((readings, corner)) or one
    )

    listed = package.fit([bounces.before, bounces.after], machine=machine, corner="rear left")

    ((readings, corner),) = fitted
    assert [reading.record.provenance.file for reading in readings] == [path.name for path in BOUNCES]
    assert corner == machine.corner("rear left")
    assert listed.job.fits == one


def test_every_way_to_hand_in_a_test_gives_the_same_fit(monkeypatch):
    reading = package.read_file(HUNG)
    ways = [
        package.fit(given)
        for given in (HUNG, str(HUNG), [HUNG], (str(HUNG),), reading, reading.record, [reading])
    ]
    again = package.fit(ways[0])

    secants = {tuple(s.c.value for s in way.rebound.secant) for way in (*ways, again)}

    assert len(secants) == 1
    assert len(next(iter(secants))) >= 2


def test_a_fit_of_several_fits_is_that_of_the_files():
    listed = package.fit([package.fit(path) for path in BEFORE])
    together = package.fit(BEFORE)

    assert listed.fit.runs == together.fit.runs == 2
    assert listed.rebound.secant == together.rebound.secant


def test_a_frame_is_read_by_the_names_of_its_columns():
    """Known damping: 1500 N*s/m in, 3000 N*s/m out; US units in the header, by option and SI by default."""
    speed = np.array([0.05, 0.13, 0.26, 0.52])
    velocity = np.concatenate([speed, -speed])
    force = np.where(velocity > 0, 1500.0, 3000.0) * velocity
    inch, pound = 0.0254, 4.4482216152605
    frames = [
        package.fit(pd.DataFrame({"velocity": velocity, "force": force}), kind="sweep"),
        package.fit(
            pd.DataFrame({"Velocity (in/s)": velocity / inch, "Load [lbf]": force / pound}), kind="sweep"
        ),
        package.fit(
            pd.DataFrame({"velocity": velocity, "force": force / pound}), kind="sweep", units={"force": "lbf"}
        ),
        package.fit({"velocity": velocity, "Messung": force}, kind="sweep", columns={"force": "Messung"}),
    ]

    secants = [[side.secant_at(0.26).value for side in (f.compression, f.rebound)] for f in frames]

    assert np.ptp(secants, axis=0) == pytest.approx([0.0, 0.0], abs=1e-6)
    # friction that a sweep cannot show is taken off: below the bare force over speed, and by less than a tenth
    assert 0.9 * 1500 < secants[0][0] <= 1500
    assert 0.9 * 3000 < secants[0][1] <= 3000


def test_settings_may_be_numbers():
    result = package.fit(HUNG, settings={"clicks": 7, "temperature": "20 degC"})

    assert result.fit.conditions[0].clicks == 7
    assert result.fit.conditions[0].temperature == pytest.approx(293.15)


def test_a_bounce_is_fitted_anew_for_another_corner(machine):
    """Mass and spring are part of its answer, so another corner gives another one: that of a fit with it."""
    first = package.fit(BOUNCES[0], machine=machine, corner="rear left")

    moved = package.fit(first, machine=machine, corner="front left")

    direct = package.fit(BOUNCES[0], machine.corner("front left"), machine.target)
    assert moved.corner == moved.fit.corner == machine.corner("front left")
    assert moved.rebound.zeta == direct.rebound.zeta
    assert moved.rebound.zeta != first.rebound.zeta


def test_a_comparison_keeps_the_corner_of_its_fits(machine, change):
    named = package.compare(BEFORE, AFTER, machine=MACHINE, corner="rear left")

    assert change.comparison.before.corner == machine.corner("rear left")
    assert change.rebound.verdict == named.rebound.verdict == "away"
    assert change.rebound.at_target == named.rebound.at_target


# --- how results show themselves ---------------------------------------------------------------------------------


def test_results_are_one_line(change, drives, jumps, bounces, pair, machine):
    reading = package.read_file(HUNG)
    for shown in (
        change, change.before, change.comparison, change.comparison.before, change.before.fit, change.rebound,
        change.before.rebound, drives, drives.before, drives.comparison, jumps, jumps.before, jumps.before.fit,
        bounces, bounces.before, pair, pair.match, machine, machine.corner("rear left"), reading, reading.record,
        package.read_file(BEFORE[0]).record, package.read_file(BEFORE[0]).record.tests[0],
        package.read_file(DRIVES[0]), package.read_file(JUMPS[0]), package.read_file(BOUNCES[0]),
        change.before.fit.loops[0], change.before.rebound.curve, change.rebound.at_target.ratio,
    ):  # fmt: skip
        said = repr(shown)
        assert "\n" not in said
        assert "array" not in said
        assert 10 < len(said) < 500, said


def test_a_short_form_has_both_sides_with_number_and_interval(change, pair):
    fitted, compared, matched = repr(change.before), repr(change), repr(pair)

    assert fitted.startswith(
        "<FitResult cycle, rear_left_before_run1.csv + rear_left_before_run2.csv: compression: "
    )
    assert " ± " in fitted.split("; rebound: ")[1]
    assert "damping ratio 0.65 ± 0.02, inside" in fitted
    assert "rebound: -36 % (-3" in compared
    assert "moved away from the target" in compared
    assert "not alike" in matched


@pytest.mark.parametrize(
    ("estimate", "said"),
    [
        (Estimate(1523.4, 1480.2, 1566.6, "N*s/m"), "1523 (1480 to 1567) N*s/m"),
        (Estimate(0.3421, 0.30, 0.39, "1"), "0.342 (0.300 to 0.390)"),
        (Estimate.exact(0.7, "1"), "0.7"),
        (Estimate(2.0, 1.0, math.inf, "m"), "2 (1 to inf) m"),
        (Estimate(-0.0004, -0.02, 0.02, "s"), "0.000 (-0.020 to 0.020) s"),
    ],
)
def test_an_estimate_reads_as_value_and_interval(estimate, said):
    assert str(estimate) == said
    assert repr(estimate) == f"Estimate({said})"


def test_a_notebook_shows_a_small_table(change, drives, jumps, bounces, pair):
    for result in (change, change.before, drives, drives.before, jumps, bounces, bounces.before, pair):
        html = result._repr_html_()
        assert html.count("<table>") == html.count("</table>") == 1
        assert html.count("<tr>") <= 8
        assert len(html) < 5000
    assert "<b>No.</b>" in change._repr_html_()
    assert "Careful" in change._repr_html_()
    assert all(doubt.endswith(".") and " " in doubt for doubt in change.before.doubts)
    assert len(change.before.doubts) >= 1
    assert len(change.cautions) >= 3


def test_what_must_be_checked_stands_in_the_notebook(machine):
    """A motion ratio turned upside down is suspected by the bounce; the answer is not shown without that."""
    corner = machine.corner("rear left")
    wrong = package.read_machine(MACHINE.read_text().replace("motion_ratio = 0.70", "motion_ratio = 1.43"))
    assert wrong.corner("rear left").motion_ratio != corner.motion_ratio

    html = package.fit(BOUNCES[0], machine=wrong, corner="rear left")._repr_html_()

    assert "Check this first: " in html


def test_html_is_escaped():
    table = Table("", ("<th>", "a & b"), (("<script>alert(1)</script>", "<i>"),))

    html = html_of(Headline("<u>", "<img src=x>"), table, ["<b>check</b>"], ["<s>now</s>"])

    assert [
        word for word in ("<script", "<i>", "<u>", "<img", "<b>check", "<s>", "a & b") if word in html
    ] == []
    assert "a &amp; b" in html


def test_a_frame_of_a_fit_has_a_row_per_side_and_speed(change):
    frame = change.before.to_frame()

    assert list(frame.columns) == [
        "side",
        "speed",
        "value",
        "low",
        "high",
        "unit",
        "zeta",
        "zeta_low",
        "zeta_high",
    ]
    assert len(frame) == sum(len(side.secant) for side in (change.before.compression, change.before.rebound))
    row = frame[(frame.side == "rebound") & (frame.speed == 0.26)].iloc[0]
    c = change.before.rebound.secant_at(0.26)
    assert (row.value, row.low, row.high, row.unit) == (c.value, c.low, c.high, "N*s/m")
    assert row.zeta == change.before.judgement.rebound.at_target.zeta.value


def test_a_frame_of_a_bounce_has_the_ratio_without_a_speed(bounces):
    frame = bounces.before.to_frame()
    row = frame[(frame.side == "rebound") & frame.speed.isna()].iloc[0]

    assert row.value == row.zeta == bounces.before.rebound.zeta.value
    assert row.unit == "1"


def test_a_frame_of_a_comparison_has_ratio_before_after_and_verdict(change):
    frame = change.to_frame()
    row = frame[(frame.side == "rebound") & frame.judged]

    assert len(row) == 1
    assert row.iloc[0].ratio == change.rebound.at_target.ratio.value
    assert row.iloc[0].before == change.before.rebound.secant_at(0.26).value
    assert row.iloc[0].after_high == change.after.rebound.secant_at(0.26).high
    assert row.iloc[0].verdict == "away"
    assert set(frame[frame.side == "rebound"].probability) == {change.rebound.probability}
    assert pd.api.types.is_float_dtype(frame.ratio)


def test_a_frame_of_what_shares_nothing_says_so(machine):
    """A bench test against a bounce: two kinds of number, no ratio of them."""
    frame = package.compare(BEFORE[0], BOUNCES[1], machine=machine, corner="rear left").to_frame()

    assert frame.ratio.isna().all()
    assert set(frame.verdict) == {"cannot tell"}
    assert not frame.judged.any()


def test_frames_of_drives_and_jumps_have_a_row_per_measure(drives, jumps):
    frame = drives.before.to_frame().set_index(["measure", "side"]).sort_index()
    changed = drives.to_frame()
    jump = jumps.before.to_frame().set_index("measure")

    mean = drives.before.fit.mean_position
    row = frame.loc[("mean_position", "")]
    assert (row.value, row.low, row.high, row.unit) == (mean.value, mean.low, mean.high, "m")
    assert {"measure", "before", "after", "difference", "unit", "changed"} <= set(changed.columns)
    assert len(changed) == len(drives.measures)
    assert list(jump.index) == ["airtime", "pitch_rate", "rotation", "landing_peak"]


def test_a_frame_holds_what_the_spreadsheet_holds(change, drives):
    """The CSV of the dashboard is an older way to the same numbers."""
    import io

    csv = pd.read_csv(io.StringIO(fit_csv(change.before.judgement)))
    frame = change.before.to_frame()
    assert csv["c_N_s_per_m"].tolist() == frame["value"].tolist()
    assert csv["zeta_high"].tolist() == frame["zeta_high"].tolist()

    csv = pd.read_csv(io.StringIO(compare_csv(change.comparison)))
    assert csv["ratio_low"].tolist() == change.to_frame()["ratio_low"].tolist()
    csv = pd.read_csv(io.StringIO(compare_csv(drives.comparison)))
    assert csv["difference"].tolist() == pytest.approx(drives.to_frame()["difference"].tolist(), nan_ok=True)


def test_every_picture_is_drawn(change, drives, jumps, bounces, pair):
    for result, first in (
        (change, "ratio-band"),
        (change.before, "force-speed"),
        (drives, "outcomes"),
        (drives.before, "speed-share"),
        (jumps, "outcomes"),
        (bounces, "ratio-band"),
        (pair, "change"),
    ):
        assert result.plot().to_json() == result.plot(first).to_json()
        assert all(len(result.plot(name).data) > 0 for name in result.pictures)


# --- misuse ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("call", "error", "sentence"),
    [
        (lambda m: package.fit(3), UsageError, "the test must be the path of a file, a reading, a record"),
        (lambda m: package.fit(None), UsageError, "a list of one of these; got None"),
        (lambda m: package.fit(m), UsageError, "got a Machine"),
        (lambda m: package.fit([]), UsageError, "the test must be at least one test; got an empty list"),
        (lambda m: package.fit([HUNG, package.read_file(HUNG)]), UsageError, "all of one sort; got a file and a"),
        (lambda m: package.fit([HUNG, 3]), UsageError, "got an int"),
        (lambda m: package.fit([HUNG, BEFORE[0]]), FitError, "records of one kind; got cycle and weights"),
        (lambda m: package.fit([HUNG, HUNG]), UsageError, "holds the same bytes as"),
        (lambda m: package.fit("nowhere.csv"), ReadError, "nowhere.csv must be a file that can be read"),
        (lambda m: package.fit("no\0where"), ReadError, "must be a file that can be read; not a path"),
        (lambda m: package.fit(SAMPLES), ReadError, "must be a file that can be read"),
        (lambda m: package.fit(HUNG, "rear left"), UsageError, "the corner 'rear left' needs a machine"),
        (lambda m: package.fit(HUNG, machine=m), UsageError, "has 4 corners, so one must be named"),
        (lambda m: package.fit(HUNG, machine=m, corner="rear"), MachineError, "has no corner 'rear'"),
        (lambda m: package.fit(HUNG, m), UsageError, "the corner must be a name or a Corner; got a Machine"),
        (lambda m: package.fit(HUNG, machine=7), UsageError, "the machine must be a Machine or the path of its file"),
        (lambda m: package.fit(HUNG, machine="no.toml"), MachineError, "the machine file no.toml cannot be read"),
        (lambda m: package.fit(HUNG, target=(0.2, 0.4)), UsageError, "the target must be a Target; got a tuple"),
        (lambda m: package.fit(HUNG, kind="sweeps"), UsageError, "no record kind is called 'sweeps'"),
        (lambda m: package.fit(HUNG, columns=["mass"]), UsageError, "columns must be a dictionary; got a list"),
        (lambda m: package.fit(HUNG, settings={"clics": 3}), UsageError, "no setting is called 'clics'"),
        (lambda m: package.fit(package.read_file(HUNG), kind="weights"), UsageError, "a record is read already"),
        (lambda m: package.fit(package.fit(HUNG), kind="weights"), UsageError, "a fit is read already"),
        (lambda m: package.fit({"velocity": [0.1, "x"], "force": [1.0, 2.0]}, kind="sweep"), ReadError, "velocity"),
        (lambda m: package.compare(HUNG, 5), UsageError, "after must be the path of a file"),
        (lambda m: package.compare([], HUNG), UsageError, "before must be at least one test"),
        (lambda m: package.match(*PAIR, tolerance=10), UsageError, "the tolerance must be above 0 % and below 100 %"),
        (lambda m: package.fit(HUNG).plot("loop"), UsageError, "no picture is called 'loop'"),
    ],
)  # fmt: skip
def test_misuse_is_refused_in_one_sentence(call, error, sentence, machine):
    with pytest.raises(error) as caught:
        call(machine)

    assert sentence in caught.value.message
    assert "\n" not in caught.value.message
    assert caught.value.hint == "" or caught.value.__notes__ == [f"Hint: {caught.value.hint}"]


def test_fits_of_two_corners_are_not_compared(machine):
    left, front = (package.fit(HUNG, machine=machine, corner=name) for name in ("rear left", "front left"))

    with pytest.raises(UsageError, match="judged on the corner 'rear left' and another on 'front left'"):
        package.compare(left, front)
    assert package.compare(left, front, machine=machine, corner="front left").before.corner == front.corner


@pytest.mark.parametrize(
    "words",
    [
        ("nowhere.csv",),
        (HUNG, "--corner", "rear left"),
        (HUNG, "--machine", MACHINE),
        (HUNG, "--machine", "no.toml"),
    ],
)
def test_a_refusal_reads_as_on_the_command_line(tuner, words):
    names = dict(zip(words[1::2], words[2::2], strict=True))
    with pytest.raises(TunerError) as caught:
        package.fit(words[0], names.get("--corner"), machine=names.get("--machine"))

    assert tuner("fit", *words).err.startswith(f"tuner: {caught.value.message}")


def test_a_fit_loads_neither_pictures_nor_frames(fresh):
    script = (
        f"import sys, tuner; r = tuner.fit({str(HUNG)!r}); repr(r); r._repr_html_();"
        "print([name for name in ('pandas', 'plotly', 'jinja2', 'click') if name in sys.modules])"
    )

    assert fresh([sys.executable, "-c", script]).out.strip() == "[]"
