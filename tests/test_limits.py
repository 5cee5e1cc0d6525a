"""Limits: read from TOML, and held by the decision rule with U."""

from importlib.resources import files

import pytest

from sniff.errors import InputError
from sniff.limits import Quantity, hold, parse_limits
from sniff.verdict import Outcome

LIMITS = """
title = "mine"
source = "notes"

[[bands]]
low = "72M"
high = "76M"
tolerance = "50ppm"
deviation = "75k"
bandwidth = "200k"
"""


def test_a_band_is_found_by_its_frequency() -> None:
    limits = parse_limits(LIMITS, name="mine.toml")
    assert limits.note == "check your local rules"
    band = limits.band_of(72.9e6)
    assert band is not None
    assert band.tolerance is not None
    assert band.tolerance.at(72.9e6) == pytest.approx(3645.0)
    assert band.deviation_hz == 75e3
    assert limits.band_of(71.9e6) is None


@pytest.mark.parametrize(
    ("measured_hz", "expanded_hz", "outcome"),
    [
        (70e3, 1e3, Outcome.PASS),
        (74e3, 1e3, Outcome.PASS),
        (74.5e3, 1e3, Outcome.UNDECIDED),
        (75.5e3, 1e3, Outcome.UNDECIDED),
        (77e3, 1e3, Outcome.FAIL),
        (None, None, Outcome.UNDECIDED),
    ],
)
def test_a_quantity_is_held_with_a_guard_of_u(
    measured_hz: float | None, expanded_hz: float | None, outcome: Outcome
) -> None:
    held = hold(Quantity.DEVIATION, limit_hz=75e3, measured_hz=measured_hz, expanded_hz=expanded_hz)
    assert held.outcome is outcome


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (('high = "76M"', 'high = "70M"'), "below"),
        (('deviation = "75k"', 'deviation = "75m"'), "line 9"),
        (('tolerance = "50ppm"\ndeviation = "75k"\nbandwidth = "200k"', ""), "needs a tolerance"),
        (('source = "notes"', ""), "source"),
    ],
)
def test_wrong_limits_are_told(change: tuple[str, str], words: str) -> None:
    with pytest.raises(InputError, match=words):
        parse_limits(LIMITS.replace(*change), name="mine.toml")


def test_every_shipped_example_names_its_source_and_asks_to_check_the_local_rules() -> None:
    folder = files("sniff") / "shipped_limits"
    shipped = {entry.name: entry.read_text(encoding="utf-8") for entry in folder.iterdir()}
    assert {"cfr-74-861.toml", "cfr-15-237.toml", "en-300-422.toml"} <= set(shipped)
    for name, text in shipped.items():
        limits = parse_limits(text, name=name)
        assert limits.source
        assert "check your local rules" in limits.note


def test_the_example_of_the_tv_bands_says_what_the_rule_says() -> None:
    """47 CFR 74.861(e), edition 2015: 0.005 %, 75 kHz, 200 kHz; 174 to 216 MHz is one band."""
    text = (files("sniff") / "shipped_limits" / "cfr-74-861.toml").read_text(encoding="utf-8")
    band = parse_limits(text, name="x").band_of(178.5e6)
    assert band is not None
    assert band.tolerance is not None
    assert band.tolerance.at(174e6) == pytest.approx(8.7e3)
    assert (band.deviation_hz, band.bandwidth_hz) == (75e3, 200e3)
