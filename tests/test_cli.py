"""The command line: exit statuses, one sentence and one hint, JSON, reports, examples that run."""

from __future__ import annotations

import importlib
import json
import os
import re
import shlex
import signal
import subprocess
import sys
import time
import tomllib
from pathlib import Path

import click
import pytest

from tests.conftest import ROOT, SAMPLES
from tuner.cli import options, samples, screen
from tuner.cli.entry import COMMANDS, cli
from tuner.cli.failures import status_of
from tuner.cli.options import spread
from tuner.cli.streams import Progress
from tuner.errors import InputRefused, ReadError, UsageError

THICK, THIN = SAMPLES / "front_left_thick_oil.csv", SAMPLES / "front_left_thin_oil.csv"
MACHINE = SAMPLES / "dune_hopper.toml"
ON_CORNER = ("--machine", MACHINE, "--corner", "front left")


def one_sentence(ended) -> str:
    """Check the shape of a refusal, and give its sentence."""
    lines = ended.err.splitlines()
    assert ended.out == ""
    assert 1 <= len(lines) <= 2
    assert lines[0].startswith("tuner: ")
    assert lines[0].endswith((".", "?"))
    if len(lines) == 2:
        assert lines[1].startswith("Hint: ")
    assert "Traceback" not in ended.err
    return ended.err


# -- the list of commands


def test_the_list_of_commands_names_each_with_its_line(tuner):
    ended = tuner("--help")

    assert ended.status == 0
    for name, entry in COMMANDS.items():
        assert re.search(rf"^  {name} +{re.escape(entry.summary)}$", ended.out, re.MULTILINE)


def test_no_word_at_all_shows_the_help(tuner):
    assert tuner() == tuner("--help")


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_of_the_list_exists_under_its_name(name):
    command = getattr(importlib.import_module(COMMANDS[name].module), name)

    assert isinstance(command, click.Command)
    assert command.name == name
    assert cli.get_command(click.Context(cli), name) is command


def test_the_kinds_are_those_that_can_be_read():
    from tuner.reading import REGISTRY

    assert sorted(options.KINDS) == sorted(entry.kind for entry in REGISTRY)


def test_version(tuner):
    import tuner as package

    assert tuner("--version") == (0, f"tuner {package.__version__}\n", "")


@pytest.mark.parametrize("name", [name for name in COMMANDS if name != "demo"])  # run by a test of its own
def test_the_example_of_every_help_runs(name, tuner, monkeypatch, tmp_path):
    """Each example is run as it stands, in a folder that has sample_data."""
    (tmp_path / "sample_data").symlink_to(SAMPLES)
    monkeypatch.chdir(tmp_path)
    text = tuner(name, "--help").out
    example = text[text.index("Example") :].split("\n", 1)[1].replace("\\\n", " ")
    lines = [line for line in example.splitlines() if line.strip()]

    assert lines
    for line in lines:
        words = shlex.split(line)
        assert words[0] == "tuner"
        expanded = [
            found
            for word in words[1:]
            for found in (sorted(map(str, Path().glob(word))) if "*" in word else [word])
        ]
        ended = tuner(*expanded)
        assert (ended.status, ended.err) == (0, "")
        assert ended.out


# -- what is printed


def test_fit_prints_the_verdict_first(tuner):
    ended = tuner("fit", THICK, *ON_CORNER, "--full")

    assert ended.status == 0
    assert ended.err == ""
    assert ended.out.startswith("- Compression (on the way in): damping ratio ")
    assert "Kind sweep" in ended.out  # what was decided, and why


def test_units_change_the_text_but_not_the_json(tuner):
    metric, us = (tuner("fit", THICK, "--units", system).out for system in ("metric", "us"))
    both = [tuner("fit", THICK, "--json", "--units", system).out for system in ("metric", "us")]

    assert "N·s/m" in metric
    assert "lbf·s/in" in us
    assert "N·s/m" not in us
    assert both[0] == both[1]


def test_json_is_json_and_nothing_else(tuner):
    fit = json.loads(tuner("fit", THICK, *ON_CORNER, "--json").out)
    compare = json.loads(tuner("compare", "--before", THICK, "--after", THIN, *ON_CORNER, "--json").out)
    match = json.loads(tuner("match", "--one", THICK, "--other", THIN, "--json").out)

    assert [value["schema"] for value in (fit, compare, match)] == [1, 1, 1]
    assert fit["kind"] == "sweep"
    assert fit["inputs"][0]["file"] == THICK.name
    assert compare["sides"]["compression"]["verdict"] in ("toward", "away", "no clear change", "cannot tell")
    assert match["matched"] is False


def test_thinner_oil_lets_the_shaft_move_more_freely(tuner):
    """46 cSt against 32 cSt: the leak follows viscosity, so both sides lose some of their damping."""
    value = json.loads(tuner("compare", "--before", THICK, "--after", THIN, "--json").out)

    for side in value["sides"].values():
        assert all(32 / 46 * 0.95 < at["ratio"]["value"] < 1.0 for at in side["change"])


def test_standard_input_gives_the_same_as_the_file(tuner):
    from_file = json.loads(tuner("fit", THICK, "--json").out)
    piped = json.loads(tuner("fit", "-", "--json", stdin=THICK.read_bytes()).out)

    assert piped["sides"] == from_file["sides"]
    assert piped["inputs"][0]["sha256"] == from_file["inputs"][0]["sha256"]


def test_a_setting_may_be_given_for_one_side_only(tuner):
    words = ("compare", "--before", THICK, "--after", THIN, "--json")
    both = json.loads(tuner(*words, "--set", "temperature=20 degC").out)
    one = json.loads(tuner(*words, "--set", "temperature=20 degC", "--set", "after.temperature=60 degC").out)

    assert "oil-temperature" not in {note["code"] for note in both["confounders"]}
    assert "oil-temperature" in {note["code"] for note in one["confounders"]}


def test_the_report_is_written_and_named(tuner, tmp_path):
    report = tmp_path / "report.html"
    words = ("compare", "--before", THICK, "--after", THIN, *ON_CORNER, "--report", report)
    ended = tuner(*words)

    assert ended.status == 0
    assert f"Report: {report}" in ended.out
    assert screen.REPORT_MARK in report.read_text(encoding="utf-8")
    assert tuner(*words).status == 0  # a report of ours may be written anew
    assert [path.name for path in tmp_path.iterdir()] == ["report.html"]


@pytest.mark.parametrize(
    "words",
    [("fit", THICK, *ON_CORNER), ("match", "--one", THICK, "--other", THIN)],
    ids=["fit", "match"],
)
def test_every_answer_can_be_had_as_a_report(tuner, tmp_path, words):
    report = tmp_path / "report.html"
    ended = tuner(*words, "--report", report)

    assert ended.status == 0
    assert ended.out.endswith(f"Report: {report}\n")
    assert screen.REPORT_MARK in report.read_text(encoding="utf-8")


def test_the_report_overwrites_nothing_else(tuner, tmp_path):
    precious = tmp_path / "notes.html"
    precious.write_text("<html>my notes</html>")
    ended = tuner("compare", "--before", THICK, "--after", THIN, "--report", precious)

    assert ended.status == 2
    assert "was left alone" in one_sentence(ended)
    assert precious.read_text() == "<html>my notes</html>"


@pytest.mark.parametrize("name", ["report.pdf", "no_such_folder/report.html", "."])
def test_a_report_that_cannot_be_written_is_refused_before_the_work(name, tuner, tmp_path):
    ended = tuner("compare", "--before", "none.csv", "--after", "none.csv", "--report", tmp_path / name)

    assert ended.status == 2
    assert "report" in one_sentence(ended)


def test_demo_runs_in_any_folder_and_spares_what_is_there(tuner, monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "tuner-demo-report.html").write_text("mine")
    assert "\n  tuner demo\n" in tuner("demo", "--help").out
    ended = tuner("demo", "--units", "us")

    assert (ended.status, ended.err) == (0, "")
    assert "Dune Hopper No. 4" in ended.out
    assert "in/s" in ended.out
    assert (tmp_path / "tuner-demo-report.html").read_text() == "mine"
    written = tmp_path / "tuner-demo-report-2.html"
    assert str(written) in ended.out
    assert screen.is_ours(written)


# -- endings


WRONG = {
    "unknown command": ("comapre",),
    "unknown option": ("fit", "x.csv", "--bogus"),
    "no file": ("fit",),
    "one side only": ("compare", "--before", "x.csv"),
    "unknown units": ("fit", "x.csv", "--units", "imperial"),
    "unknown kind": ("fit", "x.csv", "--kind", "dyno"),
    "kind of a side that is not there": ("compare", "--before", "x", "--after", "y", "--kind", "one.sweep"),
    "option without value": ("fit", "--units"),
    "setting without value": ("fit", "x.csv", "--set", "temperature"),
    "unknown setting": ("fit", THICK, "--set", "temperatur=20 degC"),
    "setting given twice": ("fit", THICK, "--set", "oil=a", "--set", "oil=b"),
    "unknown role": ("fit", THICK, "--column", "farce=Load"),
    "option before the command": ("--json", "fit", "x.csv"),
    "corner without machine": ("fit", THICK, "--corner", "rear"),
    "no corner named": ("fit", THICK, "--machine", MACHINE),
    "tolerance in no unit": ("match", "--one", THICK, "--other", THIN, "--tolerance", "12"),
    "tolerance in words": ("match", "--one", THICK, "--other", THIN, "--tolerance", "ten"),
    "too many words": ("compare", "--before", "a", "--after", "b", "--json", "c"),
    "standard input twice": ("compare", "--before", "-", "--after", "-"),
}


@pytest.mark.parametrize("words", WRONG.values(), ids=WRONG)
def test_a_wrong_command_line_ends_with_2_and_one_sentence(words, tuner):
    ended = tuner(*words, stdin=THICK.read_bytes())

    one_sentence(ended)
    assert ended.status == 2


def test_a_near_miss_gets_a_suggestion(tuner):
    assert "Did you mean 'compare'?" in tuner("comapre").err
    assert "Did you mean '--before'?" in tuner("compare", "--befor", "x").err
    assert "Did you mean 'temperature'?" in tuner("fit", THICK, "--set", "temperatur=1").err
    assert "'front left'" in tuner("fit", THICK, "--machine", MACHINE).err


def refused_files(folder: Path) -> dict[str, tuple[str | Path, ...]]:
    files = {
        "empty.csv": b"",
        "header.csv": b"speed (m/s),compression force (N),rebound force (N)\n",
        "words.csv": b"once upon a time\nthere was a damper\n",
        "binary.csv": bytes(range(256)) * 40,
        "broken.csv.gz": b"\x1f\x8b\x08\x00 this is no archive",
        "broken.toml": b"[corners.rear\n",
        "unknown.toml": b"[corners.rear]\nsprung_mas = 3\n",
    }
    for name, data in files.items():
        (folder / name).write_bytes(data)
    csv = {name: ("fit", folder / name) for name in files if not name.endswith("toml")}
    toml = {name: ("fit", THICK, "--machine", folder / name) for name in files if name.endswith("toml")}
    return {
        **csv,
        **toml,
        "missing": ("fit", folder / "missing.csv"),
        "folder": ("fit", folder),
        "missing machine": ("fit", THICK, "--machine", folder / "missing.toml"),
        "folder as machine": ("fit", THICK, "--machine", folder),
        "wrong kind of unit": ("fit", THICK, "--unit", "compression_force=mm"),
        "unknown corner": ("fit", THICK, "--machine", MACHINE, "--corner", "middle"),
        "a machine file as a test": ("fit", MACHINE),
    }


def test_a_refused_input_ends_with_3_and_one_sentence(tuner, tmp_path):
    for case, words in refused_files(tmp_path).items():
        ended = tuner(*words)

        one_sentence(ended)
        assert (case, ended.status) == (case, 3)


@pytest.mark.skipif(os.geteuid() == 0, reason="the superuser may read everything")
def test_a_file_without_permission_is_refused(tuner, tmp_path):
    path = tmp_path / "closed.csv"
    path.write_bytes(THICK.read_bytes())
    path.chmod(0)
    ended = tuner("fit", path)

    one_sentence(ended)
    assert ended.status == 3


def test_a_defect_of_ours_ends_with_1_and_asks_to_report_it(tuner, monkeypatch):
    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError("on purpose")

    monkeypatch.delenv("TUNER_TRACEBACK", raising=False)
    monkeypatch.setattr("tuner.jobs.damper_job", broken)
    ended = tuner("fit", THICK)

    assert ended.status == 1
    assert "report it" in one_sentence(ended)
    monkeypatch.setenv("TUNER_TRACEBACK", "1")
    assert "ZeroDivisionError: on purpose" in tuner("fit", THICK).err.splitlines()[-1]


def test_ctrl_c_and_lack_of_memory_have_their_sentence(capfd):
    assert status_of(KeyboardInterrupt()) == 130
    assert status_of(MemoryError()) == 3
    assert capfd.readouterr().err.count("tuner: ") == 2


def test_ctrl_c_while_waiting_for_input_leaves_no_traceback():
    script = "import sys; from tuner.cli import run; print('ready', flush=True); sys.exit(run(['fit', '-']))"
    with subprocess.Popen(
        [sys.executable, "-c", script],
        **{name: subprocess.PIPE for name in ("stdin", "stdout", "stderr")},
        cwd=ROOT,
        text=True,
    ) as process:
        assert process.stdout.readline() == "ready\n"
        time.sleep(0.2)
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=60)

    assert process.returncode == 130
    assert err.strip() == "tuner: stopped before it was done."
    assert "Traceback" not in err
    assert out == ""


def test_a_reader_that_has_seen_enough_is_no_failure():
    """As in ``tuner fit file | head -1``."""
    words = shlex.join([sys.executable, "-m", "tuner", "fit", str(THICK), "--json"])
    done = subprocess.run(
        ["bash", "-c", f"set -o pipefail; {words} | head -1"], capture_output=True, text=True, cwd=ROOT
    )

    assert (done.returncode, done.stdout, done.stderr) == (0, "{\n", "")


def test_an_old_terminal_gets_plain_characters(fresh):
    """A terminal of the Cyrillic code page has neither a raised dot nor a plus-minus sign."""
    words = [sys.executable, "-m", "tuner", "fit", str(THICK)]
    ended = fresh(words, env={**os.environ, "PYTHONIOENCODING": "iso8859-5", "PYTHONUTF8": "0"})

    assert (ended.status, ended.err) == (0, "")
    assert re.search(r"\d \+- \d+ N\*s/m at 0.26 m/s", ended.out)


# -- parts


@pytest.mark.parametrize(
    ("words", "spread_out"),
    [
        (["--before", "a", "b", "--after", "c"], ["--before", "a", "--before", "b", "--after", "c"]),
        (["--before", "a", "--json", "--after", "c"], ["--before", "a", "--json", "--after", "c"]),
        (["--before", "-", "--after", "c", "-"], ["--before", "-", "--after", "c", "--after", "-"]),
        (["--units", "us", "--before=a"], ["--units", "us", "--before=a"]),
        (["--before"], ["--before"]),
    ],
)
def test_greedy_options_take_all_their_words(words, spread_out):
    assert spread(words, ("--before", "--after")) == spread_out


def test_progress_is_silent_where_nobody_looks(capfd):
    with Progress(after=0.0) as progress:
        progress("reading")
        time.sleep(0.05)

    assert capfd.readouterr().err == ""


def test_progress_appears_after_a_while_and_is_wiped(monkeypatch, capsys):
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    with Progress(after=0.02) as progress:
        progress("reading a.csv")
        time.sleep(0.3)
        progress("fitting a.csv")

    shown = capsys.readouterr().err
    assert "reading a.csv" in shown
    assert "fitting a.csv" in shown
    assert shown.endswith("\x1b[K")


def test_the_sample_files_travel_with_an_installed_package():
    """Every file of sample_data that is no script matches a pattern of the data files in pyproject."""
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["setuptools"]["data-files"]
    shipped = {path for pattern in settings[str(samples.INSTALLED)] for path in ROOT.glob(pattern)}
    files = {path for path in SAMPLES.iterdir() if path.is_file() and path.suffix != ".py"}

    assert files <= shipped
    assert MACHINE in shipped


def test_an_installation_without_samples_says_so(monkeypatch):
    monkeypatch.setattr(samples, "_places", lambda: iter([Path("no_such_folder")]))
    with pytest.raises(ReadError, match="sample files"):
        samples.sample_folder()


def test_a_free_place_is_found_or_refused(tmp_path):
    assert screen.free_report_place(tmp_path, "demo") == tmp_path / "demo.html"
    (tmp_path / "demo.html").write_text("mine")
    assert screen.free_report_place(tmp_path, "demo") == tmp_path / "demo-2.html"
    with pytest.raises(UsageError):
        screen.check_report_place(str(tmp_path / "demo.html"))


def test_a_report_is_written_whole_or_not_at_all(tmp_path, monkeypatch):
    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", full)
    with pytest.raises(InputRefused, match="no space left"):
        screen.write_report(tmp_path / "report.html", "words")
    assert list(tmp_path.iterdir()) == []


def test_a_bench_test_and_a_bounce_of_one_damper_are_held_against_each_other(tuner, tmp_path):
    files = (SAMPLES / "rear_left_before_run1.csv", SAMPLES / "bounce_rear_before.csv")
    machine = ("--machine", SAMPLES / "dune_hopper.toml", "--corner", "rear left")
    asked = tuple(map(str, ("fit", *files, *machine)))
    told = tuner(*asked, "--full", "--report", str(tmp_path / "both.html"))
    value = json.loads(tuner(*asked, "--json").out)

    assert told.status == 0
    assert "the bench says" in told.out
    report = (tmp_path / "both.html").read_text()
    assert "bench cycle: fitted" in report
    assert "bounce: fitted" in report
    assert [fit["kind"] for fit in value["fits"]] == ["cycle", "bounce"]
    for side in value["agreement"].values():
        assert side[0]["kinds"] == ["cycle", "bounce"]
        assert 0.1 < side[0]["speed"] < 0.25
        assert side[0]["agree"] in (True, False, None)
    # with the bench's curve the ratio of the bounce goes on as narrow as that
    assert "where this damper has" in " ".join(told.out.split())
