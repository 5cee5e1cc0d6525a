"""The page in a real browser, in use: states, taps, ear, keeping, a lost connection."""

import json
from datetime import datetime, timezone
from pathlib import Path

from playwright.sync_api import Browser, expect

from sniff.job.folder import start_job
from sniff.job.sheet import Sheet
from sniff.superhet.plan import Plan, Side
from tests.live.conftest import Served, frames, opened, served

STARTED = datetime(2026, 5, 4, tzinfo=timezone.utc)


def test_the_board_shows_each_line_with_its_state_in_words_and_shape(
    browser: Browser, page_of_deaf: Served
) -> None:
    """The scene's LO comes and goes; its crystal lies outside what is tuned."""
    page = opened(browser, page_of_deaf)
    rows = page.locator("#rows button")
    expect(rows).to_have_count(4)
    expect(rows.nth(0)).to_contain_text("83.600", timeout=30_000)
    expect(rows.nth(0).locator(".word")).to_have_text("unsteady", timeout=30_000)
    expect(rows.nth(0).locator(".shape")).to_have_text("≈")
    expect(rows.nth(1).locator(".word")).to_have_text("out-of-view")
    expect(page.locator("#diary")).to_contain_text("drop-out: LO, break", timeout=30_000)
    frames(page, 60)
    drawn = page.evaluate(
        "() => document.getElementById('spectrum').getContext('2d')"
        ".getImageData(0, 0, 1024, 220).data.some((value) => value > 0)"
    )
    assert drawn
    # A diary's line is its kind and its words: said by both, it is said twice.
    first = page.locator("#diary li", has_text="LO").last.inner_text()
    assert first.count("drop-out") == 1


def test_taps_by_button_and_pedal_get_their_verdict(browser: Browser, page_of_deaf: Served) -> None:
    page = opened(browser, page_of_deaf)
    page.locator("#tap").click()
    expect(page.locator("#said")).to_contain_text("Name the spot")
    page.locator("#spot").fill("<b>crystal</b>")
    page.locator("#pedal").press("b")
    page.locator("h1").click()
    page.keyboard.press("b")
    expect(page.locator("#tap-spots li")).to_contain_text("<b>crystal</b> (stick)")
    expect(page.locator("#diary")).to_contain_text("tap: <b>crystal</b>, insulated stick")
    page.locator("#tool").select_option("hand")
    page.locator("#tool").press("b")  # the pedal taps, though the list still has the keys
    expect(page.locator("#tap-spots li", has_text="(hand)")).to_contain_text("no-evidence")


def test_the_ear_starts_and_is_muted_again(browser: Browser, page_of_deaf: Served) -> None:
    page = opened(browser, page_of_deaf)
    page.locator("#ear").click()
    expect(page.locator("body")).to_have_attribute("data-ear", "running")
    expect(page.locator("#ear")).to_have_attribute("aria-pressed", "true")
    page.keyboard.press("e")
    expect(page.locator("body")).to_have_attribute("data-ear", "muted")


def test_recording_photo_and_notes_are_kept(browser: Browser, page_of_deaf: Served) -> None:
    page = opened(browser, page_of_deaf)
    frames(page, 40)
    page.locator("#keep-seconds").select_option("5")
    page.locator("#keep").click()
    expect(page.locator("#diary")).to_contain_text("recording: the last")
    page.locator("#photo").click()
    expect(page.locator("#diary")).to_contain_text("photo: kept as")
    page.locator("#note").fill("joint at L3 looks dull")
    page.locator("#note").press("Enter")
    expect(page.locator("#diary")).to_contain_text("note: joint at L3 looks dull")
    (meta,) = page_of_deaf.out.glob("*.sigmf-meta")
    assert json.loads(meta.read_text())["global"]["core:datatype"] == "cu8"
    (photo,) = page_of_deaf.out.glob("*.png")
    assert photo.read_bytes().startswith(b"\x89PNG")


def test_controls_set_the_receiver_and_the_picture(browser: Browser, page_of_deaf: Served) -> None:
    page = opened(browser, page_of_deaf)
    frames(page, 3)  # by then the page has filled in how the receiver stands
    page.locator("#center").fill("27.8")
    page.locator("#center").press("Enter")
    expect(page.locator("#air-words")).to_contain_text("Centre 27.79999")
    expect(page.locator("#rows button").nth(0).locator(".word")).to_have_text("out-of-view")
    page.locator("#hold").click()
    expect(page.locator("#hold")).to_have_attribute("aria-pressed", "true")
    page.locator("#rbw").fill("nonsense")
    page.locator("#rbw").press("Enter")
    expect(page.locator("#said")).to_contain_text("is not a number")


def test_a_phone_comes_in_by_the_link_once_and_sees_no_link_itself(
    browser: Browser, tmp_path: Path
) -> None:
    """From this machine's own address on the network, which is not the loopback's."""
    serving = served(tmp_path, "--share")
    at = next(serving)
    page = opened(browser, at)
    link = page.locator("#phone-link")
    expect(link).to_contain_text("?key=")
    expect(page.locator("#qr")).to_have_js_property("complete", True)
    expect(page.locator("#qr")).to_have_js_property("naturalWidth", 246)
    phone = browser.new_context().new_page()
    bare = link.inner_text().partition("?")[0]
    refused = phone.goto(bare)
    assert refused is not None
    assert refused.status == 403
    phone.goto(link.inner_text())
    expect(phone.locator("#link")).to_have_text("Connected")
    assert phone.url == bare
    expect(phone.locator("#phone")).to_be_hidden()
    again = browser.new_context().new_page().goto(link.inner_text())
    assert again is not None
    assert again.status == 403
    used = link.inner_text()
    page.locator("#invite").click()
    expect(link).not_to_have_text(used)
    serving.close()


def test_in_a_job_notes_go_to_its_notebook_and_recordings_to_its_folder(
    browser: Browser, tmp_path: Path
) -> None:
    plan = Plan(carrier_hz=72.9e6, if_hz=10.7e6, side=Side.HIGH)
    job = start_job(
        tmp_path / "job", Sheet(set_name="no. 14", fault="deaf", started=STARTED, plan=plan)
    )
    serving = served(tmp_path, job=job.folder)
    page = opened(browser, next(serving))
    page.locator("#note").fill("joint at L3 looks dull")
    page.locator("#note").press("Enter")
    frames(page, 40)
    page.locator("#keep").click()
    expect(page.locator("#diary")).to_contain_text("recording: the last")
    page.locator("#photo").click()
    expect(page.locator("#diary")).to_contain_text("photo: kept as")
    serving.close()
    with job.notebook() as notebook:
        texts = [note.text for note in notebook.notes()]
    assert "joint at L3 looks dull" in texts
    assert any(text.startswith("recording: the last") for text in texts)
    assert len(list(job.recordings.glob("page-*.sigmf-meta"))) == 1
    assert len(list(job.photos.glob("page-*.png"))) == 1


def test_a_lost_connection_is_said_and_comes_back_by_itself(
    browser: Browser, tmp_path: Path
) -> None:
    first = served(tmp_path / "one")
    at = next(first)
    port = at.address.rstrip("/").rpartition(":")[2]
    page = opened(browser, at)
    at.process.kill()
    at.process.wait()
    expect(page.locator("#link")).to_contain_text("Connection lost")
    again = served(tmp_path / "two", "--port", port)
    next(again)
    expect(page.locator("#link")).to_have_text("Connected", timeout=20_000)
    expect(page.locator("#rows button .word").first).not_to_be_empty()
    again.close()
    first.close()
