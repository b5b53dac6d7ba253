"""The report of bounces, drives and jumps: a tag for each answer, pictures, how the test is made, all in one file."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from tests import moving_results as results
from tests.builders import record
from tuner.jobs import CompareJob, FitJob
from tuner.reading import Reading, ReadOptions
from tuner.report import render_report

FITS = {"bounce": results.bounce_fit, "travel": results.drive_fit, "flight": results.jump_fit}
CHANGES = {"bounce": results.bounce_change, "travel": results.drive_change, "flight": results.jump_change}


def fit_job(judgement) -> FitJob:
    reading = Reading(replace(record("x"), provenance=results.INPUT), ("as asked for",))
    return FitJob((reading,), (judgement.fit,), judgement, (ReadOptions(),), command="tuner fit test.csv")


def compare_job(kind: str) -> CompareJob:
    comparison = CHANGES[kind]()
    return CompareJob(fit_job(comparison.before), fit_job(comparison.after), comparison)


def tags(page: str) -> list[tuple[str, str]]:
    found = re.findall(
        r'<article class="tag">\s*<h3>(.*?)</h3>\s*<p class="verdict">(.*?)</p>', page, re.DOTALL
    )
    return [(re.sub(r"<.*?>", "", name).strip(), verdict) for name, verdict in found]


@pytest.fixture(scope="module", params=sorted(CHANGES))
def change(request):
    return request.param, render_report(compare_job(request.param))


def test_each_answer_has_a_tag(change):
    kind, page = change
    names = [name for name, _ in tags(page)]

    if kind == "bounce":
        assert [name.split()[0] for name in names] == ["Compression", "Rebound"]
    else:
        expected = {
            "travel": [
                "Ride position",
                "Bottoming",
                "Topping out",
                "Peak speed going in",
                "Peak speed coming out",
            ],
            "flight": ["Pitch rate in the air", "Time in the air", "Landing"],
        }
        assert names == expected[kind]


def test_tags_of_drives_and_jumps_say_what_became_of_it():
    verdicts = dict(tags(render_report(compare_job("flight"))))

    assert verdicts["Pitch rate in the air"] == "the tail comes up less (nose down)"
    assert verdicts["Time in the air"] == "no clear change"


def test_the_test_is_shown_with_its_drawing_and_steps(change):
    kind, page = change

    assert "How this test is made" in page
    assert page.count('<div class="drawn"><svg') == 1
    assert {"bounce": "push that END down", "travel": "Fix the sensor", "flight": "Lift the nose once"}[
        kind
    ].lower() in page.lower()


def test_cautions_of_the_test_are_in_it(change):
    kind, page = change

    assert "A better number is not a safe jump" in page
    assert ("stands under it" in page) is (kind == "bounce")


def test_pictures_are_in_the_file(change):
    kind, page = change
    names = re.findall(r'<div class="frame" id="([^"]+)"', page)
    expected = {"bounce": "bounces-0", "travel": "speed-share", "flight": "jumps"}

    assert expected[kind] in names
    assert len(names) == len(set(names))
    for name in names:
        assert f'id="{name}-data"' in page


def test_nothing_is_asked_of_a_network(change):
    _, page = change
    page = re.sub(r"<script>.*?</script>", "", page, flags=re.DOTALL)

    assert not re.findall(r"(?:src|href)\s*=\s*[\"'](?!#|data:)[^\"']+", page)
    assert "url(http" not in page


@pytest.mark.parametrize("kind", sorted(FITS))
@pytest.mark.parametrize("system", ["metric", "us"])
def test_one_test_has_a_report_too(kind, system):
    page = render_report(fit_job(results.judged(FITS[kind]())), system)
    title = re.search(r"<h1>(.*?)</h1>", page).group(1)

    assert (
        title
        == {
            "bounce": "How the corner stands",
            "travel": "What the drive says",
            "flight": "What the jumps say",
        }[kind]
    )
    assert tags(page)
    assert "How this test is made" in page


def test_a_bench_report_has_no_instruction():
    from tests.builders import compare_job as bench_job

    assert "How this test is made" not in render_report(bench_job())


def test_the_used_bounces_are_told():
    assert "bounce.csv: 6 bounces used" in render_report(compare_job("bounce"))
