"""What people do with the dashboard in a real browser: keyboard, wrong files, reload, downloads, a look closer."""

from __future__ import annotations

import json
import re

import pytest
from browsing import SAMPLES, WAIT

THICK, THIN = SAMPLES / "front_left_thick_oil.csv", SAMPLES / "front_left_thin_oil.csv"
CYCLES = SAMPLES / "rear_left_before_run1.csv"


FOCUSED = """() => ['A', 'BUTTON', 'SUMMARY'].includes(document.activeElement.tagName)
  ? document.activeElement.innerText : ''"""


def focused(page) -> str:
    """The name of the link, button or fold that has the keyboard."""
    return str(page.evaluate(FOCUSED))


def tab_to(page, words: str, most: int = 60) -> None:
    for _ in range(most):
        page.keyboard.press("Tab")
        if words in focused(page):
            return
    pytest.fail(f"the keyboard does not reach {words!r}")


def test_the_main_path_needs_no_mouse(visit):
    """From the first screen to the files, and from an example to its verdict and its report."""
    here = visit()
    here.open()
    tab_to(here.page, "Did my change help?")
    here.page.keyboard.press("Enter")
    # the first screen says "test before the change" too: only the page's own button tells that it is there
    here.page.get_by_role("button", name="Upload", exact=True).first.wait_for(timeout=WAIT)
    here.rest()
    chosen = []
    here.page.on("filechooser", lambda opened: chosen.append(opened))
    here.rest()  # the browser hands choosers over only once it has been told to
    for _ in range(3):  # a press that falls into a redrawing of the page is made again, as people do
        tab_to(here.page, "Upload")
        here.page.keyboard.press("Enter")
        here.rest()
        if chosen:
            break
    assert chosen, f"no place for files opened; the keyboard is at {focused(here.page)!r}"
    chosen[0].set_files([THICK])
    here.page.locator(".file b", has_text=THICK.name).wait_for(timeout=WAIT)
    here.rest()
    here.add([THIN], 1)
    assert here.answer == "A clear change"

    tab_to(here.page, "Report, one file")
    with here.page.expect_download(timeout=WAIT) as taken:
        here.page.keyboard.press("Enter")
    assert taken.value.suggested_filename == "change-report.html"


def test_what_has_the_keyboard_is_seen(visit):
    here = visit()
    here.open()
    tab_to(here.page, "Did my change help?")
    outline = here.page.evaluate("() => getComputedStyle(document.activeElement).outlineStyle")

    assert outline != "none"


@pytest.mark.parametrize(
    ("width", "colours", "name", "data", "said"),
    [
        (390, "light", "shopping.csv", b"item,price\nbread,2\nmilk,3\n", "found 'item', 'price'"),
        (1280, "dark", "photo.csv", bytes(range(256)) * 40, "photo.csv"),
        (390, "dark", "nothing.csv", b"", "nothing.csv"),
    ],
)
def test_a_wrong_file_is_explained_where_it_stands(visit, width, colours, name, data, said):
    here = visit(width, colours=colours)
    here.open("one")
    here.add([{"name": name, "mimeType": "text/csv", "buffer": data}])
    box = here.page.get_by_role("alert")

    assert said in box.inner_text()
    assert "--" not in box.inner_text()
    assert here.sideways == 0

    here.page.get_by_role("button", name="Take away").click()
    here.page.locator(".file b", has_text=name).wait_for(state="detached", timeout=WAIT)
    here.rest()
    here.add([THICK])
    assert "Compression" in here.verdict


def test_a_reload_brings_everything_back(visit):
    """The link restores page, files, corner and units; a stranger without it sees nothing of them."""
    here, stranger = visit(), visit()
    here.open("machine")
    here.page.get_by_role("button", name="Use the invented buggy").click()
    here.rest()
    here.page.get_by_role("link", name="Back to the questions").click()
    here.page.get_by_role("link", name="What does this one recording say?", exact=True).click()
    here.page.get_by_text("The recording", exact=True).wait_for(timeout=WAIT)
    here.add([THICK])
    here.page.get_by_text("US", exact=True).click()
    here.page.get_by_text("in/s").first.wait_for(state="attached", timeout=WAIT)
    here.rest()
    link = here.page.url
    before = here.verdict

    here.page.reload()
    here.page.locator(".verdicts").wait_for(timeout=WAIT)
    here.rest()
    assert here.verdict == before
    assert here.page.url == link

    stranger.open("one")
    assert THICK.name not in stranger.page.content()


def test_the_way_back_and_forth_in_the_browser(visit):
    here = visit()
    here.open()
    here.page.get_by_role("link", name="two drives").click()
    here.page.locator(".verdicts").wait_for(timeout=2 * WAIT)
    here.page.go_back()
    here.page.get_by_role("heading", name="What do you want to know?").wait_for(timeout=WAIT)
    here.page.go_forward()
    here.page.locator(".verdicts").wait_for(timeout=2 * WAIT)

    assert "drives" in here.page.url


CELLS = """() => [...document.querySelectorAll('[data-testid=stDataFrame] [role=row]')].slice(1, 4)
  .map(row => [...row.children].slice(0, 3).map(cell => cell.innerText))"""


def test_a_sheet_typed_by_hand_comes_to_its_result(visit):
    """Typed as fast as people type, cell by cell, then looked over, as the page asks.

    On a computer that is busy with other work the table's own script can drop the first key of a cell.
    """
    here = visit()
    here.open("one")
    here.page.get_by_text("No file? Paste or type a table").click()
    here.page.get_by_text("type in a bench sweep").click()
    table = here.page.locator("[data-testid=stDataFrame] canvas").first
    table.wait_for(timeout=WAIT)
    here.rest()
    box = table.bounding_box()

    def first_cell() -> None:
        here.page.mouse.click(box["x"] + 0.1 * box["width"], box["y"] + 52)

    first_cell()
    rows = [["0.13", "120", "380"], ["0.26", "200", "700"], ["0.52", "330", "1250"]]
    for row in rows:
        for number in row:
            here.page.keyboard.type(number, delay=110)
            here.page.keyboard.press("Tab" if number != row[-1] else "Enter")
            here.page.wait_for_timeout(100)
        for _ in row[1:]:
            here.page.keyboard.press("ArrowLeft")
    for _ in range(5):
        here.rest()
        here.page.wait_for_timeout(300)
        shown = here.page.evaluate(CELLS)
        for place, (line, right) in enumerate(zip(shown, rows, strict=True)):
            for column, number in enumerate(right):
                if line[column] != number:
                    first_cell()
                    for key in ["ArrowDown"] * place + ["ArrowRight"] * column:
                        here.page.keyboard.press(key)
                    here.page.keyboard.type(number, delay=300)
                    here.page.keyboard.press("Enter")
        if shown == rows:
            break
    assert shown == rows
    here.page.get_by_role("button", name="Add this table").click()
    here.page.locator(".verdicts").wait_for(timeout=WAIT)
    here.rest()

    assert "at 0.26 m/s" in here.verdict
    here.unfold_why()
    assert "0.52" in here.page.locator("[data-testid=stMain] table").first.inner_text()
    assert here.sideways == 0


def test_the_downloads_hold_what_is_shown(visit, tmp_path):
    here = visit()
    here.open("change?example=thinner")
    here.page.locator(".verdicts").wait_for(timeout=WAIT)
    here.rest()
    files = {}
    for label in ("Report, one file that opens anywhere", "The change (CSV)", "All numbers (JSON)"):
        with here.page.expect_download(timeout=WAIT) as taken:
            here.page.get_by_role("button", name=label).click()
        files[label] = tmp_path / taken.value.suggested_filename
        taken.value.save_as(files[label])
    report, table, numbers = (path.read_text(encoding="utf-8") for path in files.values())

    assert "What the change did" in report
    assert table.startswith("side,speed_m_per_s,")
    assert json.loads(numbers)["sides"]["rebound"]["verdict"] == "toward"


def test_a_part_of_a_long_recording_is_looked_at_closer(visit):
    """A box over the picture, and the part is drawn with every sample it has."""
    here = visit()
    here.open("one")
    here.add([CYCLES])
    here.unfold_why()
    whole = here.page.locator(".st-key-w_whole .nsewdrag").first
    whole.wait_for(timeout=WAIT)
    here.rest()
    whole.scroll_into_view_if_needed()
    box = whole.bounding_box()
    mouse = here.page.mouse
    mouse.move(box["x"] + 0.70 * box["width"], box["y"] + 30)
    mouse.down()
    mouse.move(box["x"] + 0.72 * box["width"], box["y"] + 60, steps=6)
    mouse.up()
    here.page.locator(".st-key-w_part .main-svg").first.wait_for(timeout=WAIT)

    assert "every sample" in here.page.locator(".st-key-w_part").inner_text()


def test_a_file_above_the_limit_is_refused_in_the_browser(visit):
    """The limit is stated where the file is added, and nothing of a larger file is sent."""
    here = visit()
    here.open("one")

    assert "1GB per file" in here.page.locator('[data-testid="stFileUploader"]').first.inner_text()
    assert "A file may have up to 1 GB" in here.page.content()


@pytest.mark.parametrize(("width", "kind"), [(390, "bounce"), (1280, "weights"), (390, "flight")])
def test_the_test_without_a_bench_is_told_with_its_drawing(visit, width, kind):
    here = visit(width)
    here.open(f"how?kind={kind}")
    drawing = here.page.locator("img.drawing")
    drawing.wait_for(timeout=WAIT)

    assert drawing.evaluate("image => image.complete && image.naturalWidth > 100")
    assert here.page.locator(".steps li").count() >= 4
    assert here.sideways == 0


# presses the first fold that names what is given; gives, two frames later, how high its contents stand
FOLD = """words => new Promise(done => {
  const head = [...document.querySelectorAll('summary')].find(each => each.innerText.includes(words));
  const seen = () => done(head.parentElement.getBoundingClientRect().height - head.getBoundingClientRect().height);
  head.click();
  requestAnimationFrame(() => requestAnimationFrame(seen));
})"""


def test_what_is_unfolded_is_there_at_once_and_gone_at_once(visit):
    """The framework's fold slides for half a second, within which a hurried reader sees a line of the table."""
    here = visit()
    here.open("change?example=drained")
    here.page.locator(".verdicts").wait_for(timeout=2 * WAIT)
    here.rest()
    here.unfold_why()
    unfolded = here.page.evaluate(FOLD, "Numbers (")
    folded = here.page.evaluate(FOLD, "Numbers (")

    assert unfolded > 300
    assert folded < 10


@pytest.mark.parametrize(
    ("width", "colours", "example"),
    [
        (390, "light", "cycles"),
        (1280, "dark", "weights"),
        (390, "dark", "drive"),
        (1280, "light", "jump"),
        (390, "light", "bounce"),
    ],
)
def test_one_recording_of_every_kind(visit, width, colours, example):
    here = visit(width, colours=colours)
    here.open(f"one?example={example}")
    here.page.locator(".js-plotly-plot .main-svg").first.wait_for(timeout=2 * WAIT)
    here.rest()

    assert len(here.verdict) > 80
    assert here.sideways == 0
    paper = here.page.evaluate("() => getComputedStyle(document.querySelector('.stApp')).backgroundColor")
    light = sum(int(part) for part in re.findall(r"\d+", paper)[:3]) > 380
    assert light is (colours == "light")


def test_names_are_shown_letter_by_letter(visit):
    """No formula, emphasis or link is made of the name of a file or of a damper."""
    names = ("$a$ **b** :red[c].csv", "<b>d [e](f) $g$.csv")
    here = visit(1280)
    here.open("pair")
    data = [(SAMPLES / name).read_bytes() for name in ("pair_rear_left.csv", "rear_left_before_run1.csv")]
    for place, (name, each) in enumerate(zip(names, data, strict=True)):
        here.add([{"name": name, "mimeType": "text/csv", "buffer": each}], place)
    here.page.locator(".js-plotly-plot .main-svg").first.wait_for(timeout=WAIT)
    here.rest()
    stems = [name.removesuffix(".csv") for name in names]
    for stem in stems:
        assert here.page.get_by_role("button", name=f"{stem} (CSV)", exact=True).count() == 1
        assert stem in here.page.locator(".tags").inner_text()
        assert stem in here.page.locator(".js-plotly-plot .legend").first.text_content()
    here.page.get_by_text("The tests and the corner").click()
    here.page.locator(".file b").first.wait_for(timeout=WAIT)

    assert here.page.locator(".file b").all_inner_texts() == list(names)
    assert here.page.locator(".katex").count() == 0


def test_a_page_is_not_shown_in_a_frame(visit, browser):
    here = visit()
    here.open()
    page = browser.new_context().new_page()
    page.set_content(f'<iframe src="{here.address}/" width="900" height="700"></iframe>')
    page.wait_for_timeout(3000)
    framed = page.frames[1]

    assert framed.url.startswith("chrome-error:")
    page.context.close()
