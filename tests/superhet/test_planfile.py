"""A plan in TOML: what it says, and where its mistakes are."""

from pathlib import Path

import pytest

from sniff.errors import InputError
from sniff.superhet.plan import Plan, Side
from sniff.superhet.planfile import parse_plan, read_plan
from sniff.units import Tolerance

RECEIVER = """\
# tour-guide receiver
carrier = "72.9 MHz"
if = "10.7M"
side = "high"
second_if = 455_000
second_side = "low"
multiplier = 3
highest_multiple = 5
tolerance = "50ppm"
"""


def test_plan_reads_as_it_is_written() -> None:
    assert parse_plan(RECEIVER, name="set.toml") == Plan(
        carrier_hz=72.9e6,
        if_hz=10.7e6,
        side=Side.HIGH,
        second_if_hz=455e3,
        second_side=Side.LOW,
        multiplier=3,
        highest_multiple=5,
        tolerance=Tolerance(ppm=50.0),
    )


def test_carrier_may_be_a_channel_of_a_raster() -> None:
    text = '[channel]\nbase = "216.025M"\nstep = "50k"\nnumber = 43\nfirst = 41\n'
    assert parse_plan(text, name="set.toml").carrier_hz == pytest.approx(216.125e6)


def test_carrier_may_follow_from_the_marking_of_the_crystal() -> None:
    text = 'crystal = "17.645M"\nmultiplier = 9\nif = "10.7M"\nside = "low"\n'
    assert parse_plan(text, name="set.toml").carrier_hz == pytest.approx(169.505e6)


def test_transmitter_needs_no_if() -> None:
    assert parse_plan("carrier = 72.9e6", name="set.toml") == Plan(carrier_hz=72.9e6)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("second_side", "seccond_side", "set.toml, line 6: seccond_side: this key is not known"),
        ('"72.9 MHz"', '"72.9 m"', "set.toml, line 2: carrier: '72.9 m' is not a frequency"),
        ('"10.7M"', '"-10.7M"', "set.toml, line 3: if: Input should be greater than 0"),
        ('"10.7M"', "inf", "set.toml, line 3: if: "),
        ('"high"', '"above"', "set.toml, line 4: side: Input should be 'low' or 'high'"),
        ("multiplier = 3", "multiplier = 2.5", "set.toml, line 7: multiplier: "),
        ("multiplier = 3", "multiplier = true", "set.toml, line 7: multiplier: "),
        ("multiplier = 3", "multiplier = 0", "set.toml, line 7: multiplier: "),
        ('"50ppm"', '"50"', "set.toml, line 9: tolerance: tolerance '50' has no unit"),
        ('"50ppm"', "50", "set.toml, line 9: tolerance: a tolerance is a text with a unit"),
        ('side = "high"', 'side = "high', "set.toml: not valid TOML"),
        ('side = "high"\n', "", "set.toml: IF 10.7 MHz needs its side, low or high"),
        ('carrier = "72.9 MHz"', "", "set.toml: give one of carrier, channel and crystal"),
        ("# tour", 'crystal = "27.87M"\n# tour', "set.toml: give one of carrier, channel and"),
        (
            '"72.9 MHz"\nif = "10.7M"\nside = "high"',
            '"9M"\nif = "10.7M"\nside = "low"',
            "set.toml: low-side injection brings 9 MHz to an IF of 10.7 MHz only with an LO of",
        ),
    ],
)
def test_mistake_is_named_with_its_line_where_one_line_is_to_blame(
    old: str, new: str, message: str
) -> None:
    assert old in RECEIVER
    with pytest.raises(InputError) as raised:
        parse_plan(RECEIVER.replace(old, new), name="set.toml")
    assert message in str(raised.value)
    assert "\n" not in str(raised.value)
    assert raised.value.exit_code == 4


def test_channel_mistake_is_named_within_its_table() -> None:
    text = '# raster\n[channel]\nbase = "72.1M"\nsteps = "200k"\nnumber = 5\n'
    with pytest.raises(InputError, match=r"set\.toml, line (2|4): channel\.steps?: this key is"):
        parse_plan(text, name="set.toml")


def test_file_is_read_from_disk_with_or_without_byte_order_mark(tmp_path: Path) -> None:
    file = tmp_path / "set.toml"
    file.write_bytes(b"\xef\xbb\xbf" + RECEIVER.encode())
    assert read_plan(file).carrier_hz == 72.9e6


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (None, "cannot be read: No such file"),
        (b"\xff\x7f\x80\x81" * 40, "is not text in UTF-8; is it a recording?"),
        (b"#" * 1_000_001, "is larger than a megabyte; is it a recording?"),
        (b"", "give one of carrier, channel and crystal, not none of them"),
    ],
)
def test_file_that_is_no_plan_is_refused(
    tmp_path: Path, content: bytes | None, message: str
) -> None:
    file = tmp_path / "set.toml"
    if content is not None:
        file.write_bytes(content)
    with pytest.raises(InputError) as raised:
        read_plan(file)
    assert message in str(raised.value)
    assert str(file) in str(raised.value)


def test_directory_is_refused_as_a_plan(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read: Is a directory"):
        read_plan(tmp_path)
