"""What README shows is what runs."""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_the_python_example_runs_as_printed(monkeypatch, capsys):
    monkeypatch.chdir(ROOT)
    chapter = README[README.index("## From Python") : README.index("## More")]
    example, printed = re.findall(r"```(?:python)?\n(.*?)```", chapter, re.DOTALL)
    names: dict[str, object] = {}

    exec(compile(example, "README.md", "exec"), names)

    said = capsys.readouterr().out
    assert said.startswith(("Yes", "No", "Probably"))
    assert [line.rstrip() for line in said.splitlines()] == printed.splitlines()
    assert len(names["figure"].data) > 0


def test_the_answer_that_is_shown_is_what_is_printed(tuner, monkeypatch, tmp_path):
    """The files of the user are the samples under other names."""
    import shlex
    import shutil

    monkeypatch.setenv("COLUMNS", "96")  # a runner's own width is not the one of the page
    shown = re.search(r"```\n\$ (tuner compare .*?--report report.html)\n\n(.*?)```", README, re.DOTALL)
    assert shown is not None
    for name, sample in {
        "before1.csv": "rear_left_before_run1.csv",
        "before2.csv": "rear_left_before_run2.csv",
        "after1.csv": "rear_left_after_draining_run1.csv",
        "after2.csv": "rear_left_after_draining_run2.csv",
        "buggy.toml": "dune_hopper.toml",
    }.items():
        shutil.copy(ROOT / "sample_data" / sample, tmp_path / name)
    monkeypatch.chdir(tmp_path)

    assert tuner(*shlex.split(shown[1].replace("\\\n", " "))[1:]).out == shown[2]


def test_every_command_in_the_table_exists():
    from tuner.cli.entry import COMMANDS

    named = set(re.findall(r"`tuner ([a-z]+)", README))

    assert named <= set(COMMANDS)
    assert set(COMMANDS) - {"demo"} <= named
    assert ".venv/bin/tuner demo" in README


def test_every_kind_that_is_read_has_its_row():
    from tuner.reading.registry import REGISTRY

    rows = set(re.findall(r"^\| `([a-z]+)` \|", README, re.MULTILINE))

    assert {entry.kind for entry in REGISTRY} <= rows


def test_the_machine_file_that_is_shown_is_enough_for_a_ratio():
    from tuner.machine import TARGETS, read_machine
    from tuner.machine.entries import CORNER_KEYS

    example = re.search(r"```toml\n(.*?)```", README, re.DOTALL)
    assert example is not None
    corner = read_machine(example[1]).corner("rear left")
    shown = set(re.findall(r"\b[a-z]+(?:_[a-z]+)*\b", README))

    assert (corner.motion_ratio.constant.value, corner.spring_rate.value) == (0.70, 28_000.0)
    assert set(CORNER_KEYS) <= shown
    assert all(f'"{use}"' in README for use in TARGETS)
