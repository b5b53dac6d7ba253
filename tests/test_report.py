"""The report is one file that asks nothing of a network, escapes what files say, and reads without a script."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from html.parser import HTMLParser
from pathlib import Path

import pytest

from tests import builders
from tuner import __version__
from tuner.comparing import match
from tuner.estimates import Note
from tuner.jobs import MatchJob
from tuner.report import render_report
from tuner.report.pictures import safe_json
from tuner.report.strips import strip
from tuner.wording.figures import bare

LIMIT = 3_000_000  # bytes
HOSTILE = "</script><script>alert(1)</script><img src=x onerror=alert(2)>\"'&amp;{{ 7 * 7 }}"
BROWSER = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)


class Seen(HTMLParser):
    """Collects tags, attributes, visible text and the contents of scripts and styles."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.scripts: list[tuple[dict[str, str | None], str]] = []
        self.style = ""
        self._inside: tuple[str, dict[str, str | None]] | None = None
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        self._inside = (tag, dict(attrs)) if tag in ("script", "style") else self._inside

    def handle_endtag(self, tag: str) -> None:
        if tag in ("script", "style"):
            self._inside = None

    def handle_data(self, data: str) -> None:
        if self._inside is None:
            self.words.append(data)
        elif self._inside[0] == "style":
            self.style += data
        else:
            self.scripts.append((self._inside[1], data))

    @property
    def text(self) -> str:
        return re.sub(r"\s+", " ", " ".join(self.words))


@pytest.fixture(scope="module")
def html() -> str:
    return render_report(builders.compare_job())


@pytest.fixture(scope="module")
def seen(html: str) -> Seen:
    return Seen(html)


def test_one_file_under_three_megabytes(html):
    assert len(html.encode()) < LIMIT


def test_nothing_points_outside(seen):
    """No attribute holds an address, no style fetches one, and the policy of the page forbids it as well."""
    for tag, attributes in seen.tags:
        for name, value in attributes.items():
            if name in ("src", "href", "srcset", "action", "data", "poster", "background"):
                pytest.fail(f"<{tag} {name}={value}>")
    policies = [a["content"] for t, a in seen.tags if t == "meta" and a.get("http-equiv")]

    assert "url(" not in seen.style
    assert "@import" not in seen.style
    assert policies[0].startswith("default-src 'none'")
    assert "http" not in policies[0]
    assert not {tag for tag, _ in seen.tags} & {"link", "iframe", "object", "embed", "base", "form"}


def test_verdict_first_then_what_now_pictures_numbers_cautions_sources(seen):
    order = [
        "What the change did",
        "oved away from the target",
        "What now",
        "Pictures",
        "Numbers",
        "Before you open, fill or jump anything",
        "What went in",
    ]
    places = [seen.text.index(words) for words in order]

    assert places == sorted(places)


def test_reads_without_any_script(seen):
    """Verdict, both sides, damping before and after and ratios stand in the text itself, and so does a drawing."""
    job = builders.compare_job()
    damping = [bare(j.fit.rebound.secant_at(0.26), "damping", "metric") for j in (job.before, job.after)]

    assert all(words in seen.text for words in damping)
    assert "shaft going in" in seen.text
    assert "shaft coming out" in seen.text
    assert "target 0.45 to 0.75" in seen.text
    assert sum(tag == "svg" for tag, _ in seen.tags) == 2
    assert "this viewer does not run it" in seen.text


def test_everything_needed_to_repeat_it(seen):
    """Command, version, and of every file its name, hash, rows, columns with units and steps."""
    job = builders.compare_job()

    assert job.command in seen.text
    assert f"tuner {__version__}" in seen.text
    for side in (job.before, job.after):
        for reading in side.readings:
            origin = reading.record.provenance
            assert all(part in seen.text for part in (origin.file, origin.sha256, f"{origin.rows}"))
            assert all(
                f"{use.role}: column '{use.name}' in {use.unit}" in seen.text for use in origin.columns
            )
            assert all(step in seen.text for step in (*origin.history, *reading.decided))
    assert job.machine_input.provenance.sha256 in seen.text
    assert "92.0 ± 1.8 kg" in seen.text
    assert "temperature: 25.0 °C" in seen.text


def test_texts_from_files_are_never_markup():
    """Names, notes, steps and the command hold markup; it is shown as written and changes nothing else."""
    notes = (Note("no-strokes", test=HOSTILE),)
    plain = builders.compare_job(
        [builders.bench_fit(notes=(Note("velocity-differs"),))], [builders.after_fit()]
    )
    job = builders.compare_job(
        [builders.bench_fit(file=HOSTILE, notes=notes)],
        [builders.after_fit(file=f"{HOSTILE}.")],
        command=HOSTILE,
    )
    text = render_report(job)
    seen = Seen(text)

    assert HOSTILE not in text
    assert seen.text.count(HOSTILE) >= 4
    assert [t for t, _ in seen.tags if t != "p"] == [
        t for t, _ in Seen(render_report(plain)).tags if t != "p"
    ]
    assert not any(name.startswith("on") for _, attributes in seen.tags for name in attributes)


def test_figures_are_json_that_cannot_end_their_script(seen):
    """Every frame has one block of data, which parses and holds no sign that HTML knows."""
    frames = [a["id"] for t, a in seen.tags if t == "div" and a.get("class") == "frame"]
    blocks = {a["id"]: text for a, text in seen.scripts if a.get("type") == "application/json"}

    assert len(frames) == 3 + len(builders.TEST_SPEEDS)
    assert set(blocks) == {f"{name}-data" for name in frames} | {"colour-swaps"}
    assert all(set(json.loads(blocks[f"{name}-data"])) == {"data", "layout"} for name in frames)
    assert not any(sign in text for text in blocks.values() for sign in "<>&")
    assert json.loads(safe_json('{"a": "</script>&\u2028"}')) == {"a": "</script>&\u2028"}


def test_names_in_the_file_are_unique(seen):
    names = [a["id"] for _, a in seen.tags if "id" in a]

    assert len(set(names)) == len(names)


def test_licence_of_the_drawing_script_travels_with_it(html):
    assert "Permission is hereby granted, free of charge" in html


def test_style_for_paper_and_phone(seen):
    assert "@page" in seen.style
    assert "@media print" in seen.style
    assert "break-inside: avoid" in seen.style
    assert "size:" not in seen.style.split("@page")[1].split("}")[0]  # A4 or Letter is the printer's choice
    assert any(a.get("name") == "viewport" for t, a in seen.tags if t == "meta")
    assert "@media screen and (prefers-color-scheme: dark)" in seen.style  # paper stays light


def test_same_job_gives_the_same_file(html):
    assert render_report(builders.compare_job()) == html


def test_us_units_reach_tables_and_pictures():
    text = render_report(builders.compare_job(), "us")

    assert "lbf·s/in" in text
    assert "10.2 in/s" in text
    assert "N·s/m" not in Seen(text).text


def test_never_a_bare_more_or_less_rebound(seen):
    assert not re.search(r"\b(more|less)\s+(rebound|compression)\b", seen.text, re.IGNORECASE)


def test_without_a_corner_there_is_no_ratio_but_all_else():
    seen = Seen(render_report(builders.compare_job(corner=False)))
    frames = {a["id"] for t, a in seen.tags if a.get("class") == "frame"}

    assert "ratio-band" not in frames
    assert {"force-speed", "change", "loop-0"} <= frames
    assert "machine file" in seen.text


def test_a_bounce_has_ratios_and_change_but_no_force():
    job = builders.compare_job([builders.bounce_fit()], [builders.bounce_fit((0.24, 0.52), file="b.csv")])
    frames = {a["id"] for t, a in Seen(render_report(job)).tags if a.get("class") == "frame"}

    assert frames == {"ratio-band", "change"}


def test_repeats_are_listed_one_by_one():
    before = [builders.bench_fit(file=f"before {i}.csv", seed=i) for i in (1, 2, 3)]
    seen = Seen(render_report(builders.compare_job(before, [builders.after_fit()])))

    assert all(f"before, repeat {i}: before {i}.csv" in seen.text for i in (1, 2, 3))
    assert (
        seen.text.count("force: column 'Load' in lbf") == 2
    )  # once before, once after; repeats refer to the first


def test_one_setting_and_a_pair_have_reports_too():
    one = builders.fit_job([builders.bench_fit(file="front left.csv")])
    other = builders.fit_job([builders.after_fit(file="front right.csv")])
    pair = match(one.fits, other.fits, builders.machine().corner("rear"))
    job = MatchJob(one, other, pair, one.machine_input, "rear", "tuner match ...")

    assert "How the damper stands" in Seen(render_report(one)).text
    assert "not alike within 10 %" in Seen(render_report(job)).text.lower()
    assert "front right.csv" in Seen(render_report(job)).text


def test_strip_puts_the_marks_to_scale():
    """The distances of marks and band edges from zero are in the proportion of the ratios."""
    side = builders.comparison().before.rebound
    drawn = str(strip((("before", side), ("after", builders.comparison().after.rebound))))
    zero = float(re.search(r'class="base" x1="([\d.]+)"', drawn).group(1))
    edge = float(re.search(r'class="band" x="([\d.]+)"', drawn).group(1)) - zero
    mark = float(re.search(r'd="M([\d.]+)', drawn).group(1)) + 5.0 - zero

    assert mark / edge == pytest.approx(side.at_target.zeta.value / side.band[0], rel=0.005)
    assert strip((("now", builders.comparison(corner=False).before.rebound),)) is None


@pytest.mark.skipif(BROWSER is None, reason="no chromium in the path: the pictures are not drawn here")
def test_a_browser_draws_it_alone_on_a_phone(html, tmp_path: Path):
    """At 390 pixels: every picture drawn, and drawn again for paper; nothing wider than the screen; no request."""
    (tmp_path / "report.html").write_text(html, encoding="utf-8")
    (tmp_path / "phone.html").write_text(
        """<iframe id=f src=report.html width=390 height=800 frameborder=0></iframe><pre id=out></pre><script>
        document.getElementById('f').onload = function () { setTimeout(function () {
          var w = document.getElementById('f').contentWindow, d = w.document;
          document.getElementById('out').textContent = JSON.stringify({
            drawn: d.querySelectorAll('.live .main-svg').length,
            paper: d.querySelectorAll('.printable .paper > svg').length,
            frames: d.querySelectorAll('.frame').length,
            over: d.documentElement.scrollWidth - 390,
            outside: w.performance.getEntriesByType('resource').map(e => e.name).filter(n => !n.startsWith('data:'))
          }); }, 3000); };</script>""",
        encoding="utf-8",
    )
    done = subprocess.run(
        [
            BROWSER,
            *("--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-sync"),
            *("--disable-background-networking", "--disable-component-update", "--hide-scrollbars"),
            *(
                "--allow-file-access-from-files",
                "--enable-logging=stderr",
                f"--user-data-dir={tmp_path / 'profile'}",
            ),
            *("--virtual-time-budget=20000", "--dump-dom", (tmp_path / "phone.html").as_uri()),
        ],
        capture_output=True,
        text=True,
        timeout=120,
    )
    found = re.search(r'<pre id="out">(.*?)</pre>', done.stdout, re.DOTALL)
    assert found, done.stderr[-2000:]
    assert not [line for line in done.stderr.splitlines() if "Uncaught" in line or "Refused to" in line]
    facts = json.loads(found.group(1))

    assert facts["frames"] == 3 + len(builders.TEST_SPEEDS)
    assert facts["drawn"] >= facts["frames"]
    assert facts["paper"] == facts["frames"]
    assert facts["over"] <= 0
    assert facts["outside"] == []
