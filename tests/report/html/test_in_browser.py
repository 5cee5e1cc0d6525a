"""The report in a real browser: phone, desk, both papers, contrast, and no request to anywhere."""

import re
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page

from sniff.job.entries import Note, NoteKind, Stage
from sniff.job.folder import Job
from sniff.report.envelope import plain
from sniff.report.html import View
from tests.report.compared import at_two_places
from tests.report.html.conftest import STARTED, Filed, board, line, watch
from tests.report.html.test_view import picture
from tests.values.report import A4_MM, GRAY_ON_WHITE, LEAST_CONTRAST, LETTER_MM

PT_PER_MM = 72.0 / 25.4


@pytest.fixture
def report(job: Job, filed: Filed, shown: Callable[..., tuple[View, str]], tmp_path: Path) -> Path:
    """A whole report: board, drop-outs, comparison, transmitter, taps, pictures, photos, budgets,
    notes."""
    spots = [{"spot": "C14", "by": "stick", "taps": 9, "answered": 8, "verdict": "reacts"}]
    taps = {"says": "it reacts", "spots": spots}
    extra = line("absent", name="crystal", wanted=False, frequency_hz=None, error_hz=None)
    before = {**board("unsteady", "fault"), "lines": [line("unsteady"), extra]}
    files = (picture(job, "a-course.png", (900, 500)), picture(job, "a-plot.png", (900, 700)))
    readings = [
        filed("probe", before, Stage.ARRIVAL, files=files),
        filed("watch", watch(30, 7200.0, taps=taps), Stage.BEFORE),
        filed("carrier", {"verdict": "fail", "error_hz": 6e3, "tolerance_hz": 5e3}, Stage.BEFORE),
        filed("probe", board("present", "as-expected"), Stage.AFTER, place=None),
        filed("watch", watch(0, 86_400.0), Stage.SOAK),
        filed("probe", board("present", "as-expected"), Stage.AFTER, place="feed B"),
        filed("compare", plain(at_two_places().result), Stage.AFTER),
    ]  # fmt: skip
    notes = [
        Note(at_utc=STARTED, kind=NoteKind.REPAIR, stage=None, text="joint soldered anew"),
        Note(at_utc=STARTED, kind=NoteKind.NOTE, stage=None, text="a" * 200),
    ]
    path = tmp_path / "report.html"
    path.write_text(shown(readings, notes)[1], encoding="utf-8")
    return path


def opened(browser: Browser, report: Path, *, width: int = 1200) -> Page:
    page = browser.new_context(viewport={"width": width, "height": 900}).new_page()
    page.on("pageerror", lambda error: pytest.fail(str(error)))
    page.on("console", lambda said: pytest.fail(said.text) if said.type == "error" else None)
    page.goto(report.as_uri())
    return page


def test_nothing_but_the_file_is_asked_for(browser: Browser, report: Path) -> None:
    page = browser.new_context().new_page()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url.split(",")[0]))
    page.goto(report.as_uri())
    page.wait_for_load_state("networkidle")
    assert asked[0] == report.as_uri()
    assert all(url.startswith("data:image/png") for url in asked[1:])
    shown = page.evaluate("[...document.images].every((i) => i.complete && i.naturalWidth > 0)")
    assert shown


@pytest.mark.parametrize("width", [320, 360, 768, 1200])
def test_it_is_read_without_scrolling_sideways(browser: Browser, report: Path, width: int) -> None:
    """320 px is what WCAG 2.2, 1.4.10 (reflow), asks for."""
    page = opened(browser, report, width=width)
    assert page.evaluate("document.documentElement.scrollWidth") == width


def test_rules_of_accessibility_hold(browser: Browser, report: Path) -> None:
    for width in (360, 1200):
        found = Axe().run(opened(browser, report, width=width))
        assert found.violations_count == 0, found.generate_report()


def luminance(color: str) -> float:
    parts = [int(color[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_every_ink_stands_out_from_every_paper(report: Path) -> None:
    gray, white, published = GRAY_ON_WHITE
    assert contrast(gray, white) == pytest.approx(published, abs=0.005)
    colors = dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6})", report.read_text(encoding="utf-8")))
    for ink in ("ink", "pale", "blue", "fine", "faulty", "open"):
        for paper in (colors["paper"], colors["shade"], white):
            assert contrast(colors[ink], paper) >= LEAST_CONTRAST, (ink, paper)


@pytest.mark.parametrize(("paper", "size_mm"), [("A4", A4_MM), ("Letter", LETTER_MM)])
def test_the_first_page_of_paper_is_the_customers(
    browser: Browser, report: Path, tmp_path: Path, paper: str, size_mm: tuple[float, float]
) -> None:
    if shutil.which("pdftotext") is None:
        pytest.skip("no pdftotext: apt-get install poppler-utils")
    target = tmp_path / "report.pdf"
    opened(browser, report).pdf(path=str(target), format=paper, prefer_css_page_size=False)
    about = subprocess.run(["pdfinfo", target], capture_output=True, text=True, check=True).stdout
    size = re.search(r"Page size:\s+([\d.]+) x ([\d.]+)", about)
    assert size is not None
    for side, mm in zip(size.groups(), size_mm, strict=True):
        assert float(side) == pytest.approx(mm * PT_PER_MM, abs=1.0)

    def text_of(page: int) -> str:
        words = ["pdftotext", "-layout", "-f", str(page), "-l", str(page), str(target), "-"]
        return subprocess.run(words, capture_output=True, text=True, check=True).stdout

    first = text_of(1)
    for words in ("Tour-guide receiver 12", "Finding", "How sure is that?", "Not checked"):
        assert words in first
    assert "SHA-256" not in first
    assert "Lines, before and after" not in first
    pages = int(re.findall(r"Pages:\s+(\d+)", about)[0])
    whole = "".join(text_of(page) for page in range(1, pages + 1))
    for words in ("Lines, before and after", "Drop-outs, before and after", "All readings"):
        assert words in whole
