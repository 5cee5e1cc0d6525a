"""The sheet: what a person writes reads back, mistakes are named by their line."""

from dataclasses import replace
from datetime import datetime, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sniff.errors import InputError
from sniff.job.sheet import Sheet, Sibling, parse_sheet, render_sheet
from sniff.job.words import clean, holds, tokens
from sniff.superhet.place import PlacedLine, PlannedPlace
from sniff.superhet.plan import Plan, Side
from sniff.units import Tolerance

SHEET = Sheet(
    set_name="Tour-guide receiver 12",
    fault="deaf",
    started=datetime(2026, 11, 25, 13, tzinfo=timezone.utc),
    plan=Plan(
        carrier_hz=72.9e6,
        if_hz=10.7e6,
        side=Side.HIGH,
        second_if_hz=455e3,
        second_side=Side.LOW,
        multiplier=3,
        highest_multiple=5,
        tolerance=Tolerance(ppm=50.0),
        places=(
            PlannedPlace(
                name="LO output",
                lines=(
                    PlacedLine(name="LO", level_dbfs=-36.5, within_db=4.0),
                    PlacedLine(name="crystal × 2"),
                ),
            ),
            PlannedPlace(name='feed "B"', lines=(PlacedLine(name="LO"),), carrier_hz=74.5e6),
        ),
    ),
    sibling=Sibling(source="recordings/sibling.sigmf-meta", carrier_hz=74.7e6),
    finding="a cracked joint",
    not_checked=("sensitivity", "battery"),
)


def test_a_sheet_reads_back_as_it_was_written() -> None:
    assert parse_sheet(render_sheet(SHEET), name="job.toml") == SHEET


def test_frequencies_are_written_as_people_write_them() -> None:
    text = render_sheet(SHEET)
    assert 'carrier = "72.9M"' in text
    assert 'second_if = "0.455M"' in text


@given(
    st.text(max_size=60),
    st.text(max_size=60),
    st.floats(1.0, 1.7e9, allow_nan=False),
    st.lists(st.text(max_size=20), max_size=3),
)
def test_no_text_of_a_user_becomes_toml(
    name: str, fault: str, carrier_hz: float, not_checked: list[str]
) -> None:
    sheet = replace(
        SHEET,
        set_name=clean(name) or "x",
        fault=clean(fault),
        plan=Plan(carrier_hz=carrier_hz),
        not_checked=tuple(clean(each) for each in not_checked),
    )
    assert parse_sheet(render_sheet(sheet), name="job.toml") == sheet


def test_a_misspelt_key_is_named_by_its_line() -> None:
    text = render_sheet(SHEET).replace("multiplier", "mutliplier")
    with pytest.raises(InputError, match=r"job.toml, line 18: plan.mutliplier: .*not known"):
        parse_sheet(text, name="job.toml")


def test_a_mistake_in_a_place_is_named_by_its_line() -> None:
    text = render_sheet(SHEET).replace('name = "crystal × 2"', 'name = "crystal × 9"')
    line = 1 + text.splitlines().index('name = "crystal × 9"')
    with pytest.raises(InputError, match=rf"job.toml, line {line}: plan: LO output cannot expect"):
        parse_sheet(text, name="job.toml")


def test_a_newer_sheet_is_refused() -> None:
    text = render_sheet(SHEET).replace("sniff_job = 1", "sniff_job = 2")
    with pytest.raises(InputError, match="format 2"):
        parse_sheet(text, name="job.toml")


def test_frequencies_that_do_not_go_together_are_told() -> None:
    text = render_sheet(SHEET).replace('side = "high"\n', "", 1)
    with pytest.raises(InputError, match="side"):
        parse_sheet(text, name="job.toml")


def test_a_time_without_a_zone_is_utc() -> None:
    text = render_sheet(SHEET).replace("13:00:00Z", "13:00:00")
    assert parse_sheet(text, name="job.toml").started == SHEET.started


def test_what_a_terminal_would_obey_is_taken_out() -> None:
    assert clean("a\x1b[2Jb\x07\r\nc\ud800\udcffd\x9b") == "a[2Jb\nc��d"


@given(st.text())
def test_a_clean_text_can_be_stored_and_stays_as_it_is(text: str) -> None:
    once = clean(text)
    assert clean(once) == once
    once.encode("utf-8")


def test_words_are_found_by_their_beginning_without_case_and_accents() -> None:
    assert holds("Größe des Quarzes: 27.8667 MHz", tokens("grosse 27"))
    assert holds("Café, MUSEUM", tokens("cafe muse"))
    assert not holds("Café, MUSEUM", tokens("useum"))
