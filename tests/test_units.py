"""Quantities: what people write is read, and numbers are shown as their uncertainty allows."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sniff import units
from sniff.errors import UsageError


@pytest.mark.parametrize(
    ("text", "hz"),
    [
        ("83.6M", 83.6e6),
        ("10.7 MHz", 10.7e6),
        ("455k", 455e3),
        ("455 kHz", 455e3),
        ("2.4G", 2.4e9),
        ("50", 50.0),
        ("50 Hz", 50.0),
        ("1.2e6", 1.2e6),
        ("+125M", 125e6),
        ("-2.3G", -2.3e9),
        (".5M", 5e5),
        (" 7 hz ", 7.0),
        ("455K", 455e3),
    ],
)
def test_frequencies_are_read_as_written(text: str, hz: float) -> None:
    assert units.parse_frequency(text) == pytest.approx(hz, rel=1e-15)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "M",
        "10.7m",
        "10 MHz MHz",
        "nan",
        "inf",
        "1e400",
        "10,7M",
        "10.7 Mhz5",
        "0x10",
        "ten",
        "10 dB",
        "٣M",
        "1 000",
        "--5",
    ],
)
def test_what_is_no_frequency_is_refused_in_one_line(text: str) -> None:
    with pytest.raises(UsageError) as refused:
        units.parse_frequency(text)
    assert "\n" not in str(refused.value)
    assert "83.6M" in str(refused.value)


@pytest.mark.parametrize(
    ("text", "ppm", "hz"),
    [("50ppm", 50.0, None), ("0.005 %", 50.0, None), ("20 ppb", 0.02, None), ("5kHz", None, 5e3)],
)
def test_tolerances_are_parts_or_hertz(text: str, ppm: float | None, hz: float | None) -> None:
    found = units.parse_tolerance(text)
    assert found.ppm == (None if ppm is None else pytest.approx(ppm))
    assert found.hz == hz


def test_a_relative_tolerance_is_of_the_nominal() -> None:
    """50 ppm at 72.5 MHz is 3.625 kHz (CHECKS 5a, recomputed)."""
    assert units.parse_tolerance("50ppm").at(72.5e6) == pytest.approx(3_625.0)
    assert units.parse_tolerance("5kHz").at(72.5e6) == 5_000.0


@pytest.mark.parametrize("text", ["50", "-5ppm", "-5kHz", "ppm", "nanppm", "", "5 furlongs"])
def test_a_tolerance_without_unit_or_sense_is_refused(text: str) -> None:
    with pytest.raises(UsageError):
        units.parse_tolerance(text)


@pytest.mark.parametrize("text", ["-41dBFS", " -41 dBFS", "−41.0 dBFS"])
def test_a_level_is_read_with_its_unit(text: str) -> None:
    assert units.parse_dbfs(text) == -41.0


@pytest.mark.parametrize("text", ["-41", "-41 dB", "-41dBm", "dBFS", "nan dBFS", "1e999dBFS", ""])
def test_a_level_without_its_unit_or_sense_is_refused(text: str) -> None:
    with pytest.raises(UsageError, match="is not a level in dBFS; write -30dBFS"):
        units.parse_dbfs(text)


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("2.5", 2.5), ("300 ms", 0.3), ("30min", 1800.0), ("8h", 28_800.0), ("50us", 5e-5), ("0", 0)],
)
def test_durations_are_read_as_written(text: str, seconds: float) -> None:
    assert units.parse_duration(text) == pytest.approx(seconds)


@pytest.mark.parametrize("text", ["-1", "1 day", "", "s", "nan", "1m"])
def test_what_is_no_duration_is_refused(text: str) -> None:
    with pytest.raises(UsageError):
        units.parse_duration(text)


@pytest.mark.parametrize(("text", "db"), [("20dB", 20.0), ("-15 dB", -15.0), ("3", 3.0)])
def test_decibels_are_read_as_written(text: str, db: float) -> None:
    assert units.parse_decibels(text) == db


@pytest.mark.parametrize("text", ["", "dB", "20 dBm", "nan", "1e999"])
def test_what_is_no_decibel_is_refused(text: str) -> None:
    with pytest.raises(UsageError):
        units.parse_decibels(text)


@pytest.mark.parametrize(
    ("hz", "expanded_hz", "text"),
    [
        # Two digits of U, and the value to the same place (JCGM 100:2008, 7.2.6).
        (83_601_234.5, 4_180.0, "83.6012 MHz ± 4.2 kHz"),
        (83_601_234.5, 0.528, "83.60123450 MHz ± 0.53 Hz"),
        (144_470_000.0, 169_000.0, "144.47 MHz ± 170 kHz"),
        (455_012.0, 99.6, "455.01 kHz ± 100 Hz"),
        (455_012.0, 996.0, "455.0 kHz ± 1.0 kHz"),
        (50.0, 3_000.0, "50 Hz ± 3.0 kHz"),
        (1e9, 0.0996, "1000.00000000 MHz ± 0.10 Hz"),
    ],
)
def test_a_reading_has_two_digits_of_u(hz: float, expanded_hz: float, text: str) -> None:
    assert units.format_reading(hz, expanded_hz) == text


@pytest.mark.parametrize(
    ("hz", "text"),
    [
        (10.7e6, "10.7 MHz"),
        (27_866_666.667, "27.866667 MHz"),
        (455e3, "455 kHz"),
        (19.0, "19 Hz"),
        (0.0, "0 Hz"),
        (-2.3e9, "-2300 MHz"),
    ],
)
def test_an_exact_frequency_drops_its_zeros(hz: float, text: str) -> None:
    assert units.format_frequency(hz) == text


@pytest.mark.parametrize(
    ("hz", "text"),
    [
        (4_180.0, "4.2 kHz"),
        (96.4, "96 Hz"),
        (879.0, "879 Hz"),
        (999.6, "1.0 kHz"),
        (0.0, "0 Hz"),
        (0.021, "0.021 Hz"),
        (1.5e6, "1.5 MHz"),
    ],
)
def test_spans(hz: float, text: str) -> None:
    assert units.format_span(hz) == text


@pytest.mark.parametrize(
    ("hz", "expanded_hz", "text"),
    [
        (-1_320.0, 4_200.0, "−1.3 kHz"),
        (268.9, 2.0, "+268.9 Hz"),
        (-0.01, 5.0, "+0.0 Hz"),
        (1.5, 0.0, "+1.5 Hz"),
    ],
)
def test_errors_are_signed_and_never_minus_nothing(
    hz: float, expanded_hz: float, text: str
) -> None:
    assert units.format_error(hz, expanded_hz) == text


def test_levels_and_parts() -> None:
    assert units.format_dbfs(-43.21) == "−43.2 dBFS"
    assert units.format_dbfs(1.5) == "1.5 dBFS"
    assert units.format_dbfs(-0.04) == "0.0 dBFS"
    assert units.format_db(12.34) == "+12.3 dB"
    assert units.format_ppm(-1.8612, 0.05) == "−1.861 ppm"
    assert units.format_ppm(5.6, 12.0) == "+6 ppm"
    assert units.format_parts(115.47) == "115 ppm"
    assert units.format_parts(0.4242) == "0.42 ppm"
    assert units.format_parts(0.0) == "0 ppm"


def test_differences_carry_their_uncertainty() -> None:
    assert units.format_db_reading(-1.42, 6.0) == "−1.4 ± 6.0 dB"
    assert units.format_db_reading(0.01, 2.34) == "+0.0 ± 2.3 dB"
    assert units.format_ppm_reading(1.857, 1.414) == "+1.9 ± 1.4 ppm"
    assert units.format_ppm_reading(-20.2, 12.0) == "−20 ± 12 ppm"


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0.8329, "833 ms"),
        (0.9996, "1 s"),
        (119.4, "119 s"),
        (119.9, "2 min"),
        (120.0, "2 min"),
        (7_200.0, "2 h"),
        (2.494, "2.49 s"),
        (3.6e6, "1000 h"),
        (5e-6, "0.005 ms"),
    ],
)
def test_durations_are_shown_in_their_own_unit(seconds: float, text: str) -> None:
    assert units.format_seconds(seconds) == text


@given(st.floats(1.0, 1e10), st.floats(-6, 5))
def test_a_frequency_shown_with_its_u_is_within_half_its_last_place(
    hz: float, magnitude: float
) -> None:
    expanded_hz = 10.0**magnitude
    text = units.format_frequency(hz, expanded_hz)
    shown_hz = units.parse_frequency(text)
    place_hz = 10.0 ** (len(f"{expanded_hz:.0f}") - 2) if expanded_hz >= 10 else expanded_hz / 10
    assert abs(shown_hz - hz) <= max(0.51 * place_hz * 10, 1e-2)
    assert "e" not in text


@given(st.floats(1e-3, 1e7))
def test_no_number_is_shown_in_powers_of_ten(value: float) -> None:
    for text in (
        units.format_span(value),
        units.format_expanded(value),
        units.format_seconds(value),
        units.format_error(value, value / 7),
        units.format_parts(value),
    ):
        assert "e+" not in text
        assert "e-" not in text


def test_no_power_reads_minus_300_decibels_not_minus_infinity() -> None:
    assert units.to_db(0.0) == -300.0
    assert units.to_db(0.5) == pytest.approx(-3.0103, abs=1e-4)


@pytest.mark.parametrize(
    ("hz", "text"),
    [
        (17_500.0, "17.5 kHz"),
        (480.4, "480 Hz"),
        (9_999.0, "10.0 kHz"),
        (2.5, "2.50 Hz"),
        (0.0, "0 Hz"),
    ],
)
def test_a_measure_has_three_digits(hz: float, text: str) -> None:
    assert units.format_measure(hz) == text


@pytest.mark.parametrize(
    ("share", "digits", "text"),
    [
        (0.88, 0, "88 %"),
        (0.95, 0, "95 %"),
        (0.8777, 2, "87.77 %"),
        (1.0, 0, "100 %"),
        (0.0, 0, "0 %"),
        (0.997, 0, "99.7 %"),  # gone now and then, and never "100 % of the time"
        (0.99996, 2, "99.996 %"),
        (0.0004, 0, "0.04 %"),
    ],
)
def test_a_share_never_reads_like_all_or_nothing_when_it_is_not(
    share: float, digits: int, text: str
) -> None:
    """A space before the sign: The International System of Units, 9th edition, 5.4.7."""
    assert units.format_share(share, digits=digits) == text
