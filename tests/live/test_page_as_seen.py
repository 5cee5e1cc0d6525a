"""The page in a real browser, looked at: on a phone, a wide screen, paper; by keyboard alone."""

from collections.abc import Iterator
from itertools import combinations
from typing import Literal

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, ViewportSize, expect

from tests.live.conftest import Served, frames, opened, served

UPRIGHT: ViewportSize = {"width": 390, "height": 844}
TURNED: ViewportSize = {"width": 844, "height": 390}
WIDE: ViewportSize = {"width": 1440, "height": 900}
RATIO = 2

# Notes, in pixels of the spectrum, the box of each word and the points of its longest line.
NOTE_DRAWING = """
(() => {
  const pens = CanvasRenderingContext2D.prototype;
  const instead = (name, note) => {
    const real = pens[name];
    pens[name] = function (...given) {
      if (this.canvas.id === "spectrum") note(this, ...given);
      return real.apply(this, given);
    };
  };
  const at = (pen, x, y) => pen.getTransform().transformPoint({ x, y });
  let path = [];
  instead("clearRect", () => { window.words = []; window.trace = []; });
  instead("fillText", (pen, text, x, y) => {
    if (!text) return;
    const size = pen.measureText(text);
    const from = at(pen, x - size.actualBoundingBoxLeft, y - size.actualBoundingBoxAscent);
    const to = at(pen, x + size.actualBoundingBoxRight, y + size.actualBoundingBoxDescent);
    window.words.push([text, from.x, from.y, to.x, to.y]);
  });
  instead("beginPath", () => { path = []; });
  instead("lineTo", (pen, x, y) => { const to = at(pen, x, y); path.push([to.x, to.y]); });
  instead("stroke", () => { if (path.length > window.trace.length) window.trace = path; });
})();
"""


@pytest.fixture(scope="module")
def set_on_bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """One for all: here it is only looked at."""
    yield from served(tmp_path_factory.mktemp("seen"))


@pytest.fixture(scope="module")
def phone(browser: Browser, set_on_bench: Served) -> Iterator[Page]:
    """Dark, of fine pixels."""
    context = browser.new_context(device_scale_factor=RATIO, color_scheme="dark", viewport=UPRIGHT)
    context.add_init_script(NOTE_DRAWING)
    page = context.new_page()
    page.goto(set_on_bench.address)
    frames(page, 12)
    yield page
    context.close()


def more_frames(page: Page, count: int) -> None:
    frames(page, count + int(page.evaluate("document.body.dataset.frames")))


def painted_rows(page: Page) -> int:
    """How many rows of the course are painted, in pixels of the style sheet's."""
    pixels: int = page.evaluate(
        """() => {
          const { width, height } = document.getElementById("course");
          const pen = document.getElementById("course").getContext("2d");
          const { data } = pen.getImageData(width - 9, 0, 1, height);
          return data.filter((value, place) => place % 4 === 3 && value > 0).length;
        }"""
    )
    return pixels // RATIO


def test_the_pictures_have_the_screens_own_pixels_and_a_turned_phone_keeps_the_course(
    phone: Page,
) -> None:
    """Else letters are stretched one way or the other."""
    before = painted_rows(phone)
    for size in (UPRIGHT, TURNED):
        phone.set_viewport_size(size)
        more_frames(phone, 3)
        sizes = phone.evaluate(
            """[...document.querySelectorAll("canvas")].filter((one) => one.clientWidth).map(
                 (one) => [one.width, one.clientWidth, one.height, one.clientHeight])"""
        )
        assert len(sizes) >= 3
        for wide, shown_wide, high, shown_high in sizes:
            assert wide == pytest.approx(RATIO * shown_wide, abs=1)
            assert high == pytest.approx(RATIO * shown_high, abs=1)
    assert before > 5
    assert painted_rows(phone) >= before


def test_no_word_in_the_spectrum_covers_another_or_the_trace_or_is_cut_off(phone: Page) -> None:
    counts = []
    for size in (UPRIGHT, WIDE):
        phone.set_viewport_size(size)
        more_frames(phone, 3)
        words, trace, width, height = phone.evaluate(
            """() => [window.words, window.trace, document.getElementById("spectrum").width,
                      document.getElementById("spectrum").height]"""
        )
        assert len(trace) > 500
        for text, left, top, right, bottom in words:
            assert left >= 0, text
            assert top >= 0, text
            assert right <= width, text
            assert bottom <= height, text
            assert not any(left <= x <= right and top <= y <= bottom for x, y in trace), text
        for one, other in combinations(words, 2):
            apart = one[1] > other[3] or other[1] > one[3] or one[2] > other[4] or other[2] > one[4]
            assert apart, (one, other)
        assert {"dBFS", "−50", "MHz", "83.6", "LO"} <= {text for text, *_ in words}
        counts.append(len(words))
    assert counts[0] < counts[1]  # fewer where it is narrow


def test_no_word_in_a_control_is_cut_off(phone: Page) -> None:
    """Against the width that the browser itself gives a list, and what a field must scroll."""
    for size in (UPRIGHT, WIDE):
        phone.set_viewport_size(size)
        cut = phone.evaluate(
            """() => {
              const cut = [];
              for (const list of document.querySelectorAll("select")) {
                const free = list.cloneNode(true);
                free.id = "";
                free.style.width = "auto";
                free.style.justifySelf = "start";
                list.after(free);
                if (free.offsetWidth > list.offsetWidth) cut.push(list.id);
                free.remove();
              }
              for (const field of document.querySelectorAll("input[placeholder]")) {
                const kept = field.value;
                field.value = field.placeholder;
                if (field.scrollWidth > field.clientWidth) cut.push(field.id);
                field.value = kept;
              }
              return cut;
            }"""
        )
        assert cut == []


def test_paper_gets_board_spectrum_and_diary_black_on_white_and_no_control(phone: Page) -> None:
    phone.set_viewport_size(UPRIGHT)
    expect(phone.locator("#diary li").first).to_be_visible()
    phone.emulate_media(media="print")
    phone.evaluate("dispatchEvent(new Event('beforeprint'))")
    for part in ("board", "air", "spectrum", "diary", "printed"):
        assert phone.locator(f"#{part}").is_visible(), part
    seen = phone.evaluate(
        """() => {
          const all = [...document.body.querySelectorAll("*")];
          const shown = all.filter((one) => one.checkVisibility());
          const control = "input, select, kbd, button:not(#rows button)";
          const inked = shown.filter((one) => one.textContent.trim() && !one.closest("canvas"));
          const diary = document.getElementById("diary");
          const { data } = document.getElementById("spectrum").getContext("2d")
            .getImageData(0, 0, 2160, 660);
          let black = 0, coloured = 0;
          for (let red = 0; red < data.length; red += 4) {
            if (data[red] !== data[red + 1] || data[red] !== data[red + 2]) coloured += 1;
            else if (data[red] === 0 && data[red + 3] === 255) black += 1;
          }
          return {
            controls: shown.filter((one) => one.matches(control)).map((one) => one.outerHTML),
            ink: [...new Set(inked.map((one) => getComputedStyle(one).color))],
            paper: getComputedStyle(document.body).backgroundColor,
            diary_cut: diary.scrollHeight > diary.clientHeight,
            black, coloured,
          };
        }"""
    )
    assert seen["controls"] == []
    assert seen["ink"] == ["rgb(0, 0, 0)"]
    assert seen["paper"] == "rgb(255, 255, 255)"
    assert not seen["diary_cut"]
    assert seen["black"] > 1000
    assert seen["coloured"] == 0
    phone.evaluate("dispatchEvent(new Event('afterprint'))")
    phone.emulate_media(media="screen")


def test_a_row_opens_a_read_out_that_is_large_and_closes_by_escape(
    browser: Browser, set_on_bench: Served
) -> None:
    page = opened(browser, set_on_bench)
    page.locator("#rows button").first.click()
    large = page.locator("#large-state")
    expect(large).to_be_visible()
    # Two metres away a capital must subtend some 15 minutes of arc: 9 mm, 34 px at 96 px an inch.
    size = page.evaluate(
        "parseFloat(getComputedStyle(document.getElementById('large-state')).fontSize)"
    )
    assert size >= 2 * 34
    page.keyboard.press("Escape")
    expect(large).to_be_hidden()


def test_it_works_by_keyboard_alone_and_at_the_width_of_a_phone(
    browser: Browser, set_on_bench: Served
) -> None:
    page = opened(browser, set_on_bench, width=360, height=740)
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    expect(page.locator("#rows button")).to_have_count(4)
    page.keyboard.press("ArrowDown")
    expect(page.locator("#rows button").nth(1)).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator("#large-name")).to_contain_text("crystal")
    for _ in range(3):  # what the read-out covers is out of reach
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.closest('header, #board, #controls')") is None
    page.keyboard.press("Escape")
    expect(page.locator("#rows button").nth(1)).to_be_focused()
    page.locator("#spot").press("Enter")
    expect(page.locator("#tap")).to_be_focused()
    unnamed = page.evaluate(
        """() => [...document.querySelectorAll('button, input, select')].filter((control) =>
             !(control.textContent.trim() || control.labels?.length)).map((one) => one.id)"""
    )
    assert unnamed == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_it_breaks_no_rule_of_accessibility(
    browser: Browser, set_on_bench: Served, scheme: Literal["light", "dark"]
) -> None:
    """The rules of axe-core, which follow WCAG 2."""
    # The checker is a script that is not the page's own.
    context = browser.new_context(bypass_csp=True, color_scheme=scheme)
    page = context.new_page()
    page.goto(set_on_bench.address)
    expect(page.locator("#rows button")).to_have_count(4)
    for large in (False, True):
        if large:
            page.locator("#rows button").first.click()
        found = Axe().run(page).response["violations"]
        told = [(rule["id"], [node["html"] for node in rule["nodes"]][:3]) for rule in found]
        assert told == []
