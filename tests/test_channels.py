"""Channel lists: rows and names are read, and what they say wrongly is told by line."""

from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sniff.channels import nearest, parse_channels, parse_row
from sniff.errors import BenchError, InputError, UsageError

LIST = """
[[channels]]
name = "assembly"
frequency = "72.9M"

[[rows]]
base = "72.1M"
step = "200k"
count = 3
first = 5
prefix = "S"
"""


def test_base_step_and_count_make_a_row() -> None:
    """The sixteen analogue channels of a licence-free band, 12.5 kHz apart (CEPT: ERC/DEC/(98)25,
    from memory)."""
    row = parse_row("446.00625M+12.5k*16")
    assert row is not None
    assert [row[0].name, row[15].name] == ["1", "16"]
    assert row[0].frequency_hz == 446.00625e6
    assert row[15].frequency_hz == pytest.approx(446.19375e6, abs=1e-3)


def test_a_list_is_in_order_of_frequency() -> None:
    channels = parse_channels(LIST, name="list.toml")
    assert [channel.name for channel in channels] == ["S5", "S6", "S7", "assembly"]
    assert channels[1].frequency_hz == pytest.approx(72.3e6)


def test_the_nearest_channel_is_found() -> None:
    channels = parse_channels(LIST, name="list.toml")
    assert nearest(channels, 72.59e6).name == "S7"
    assert nearest(channels, 90e6).name == "assembly"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "no channel"),
        ('[[channels]]\nname = "a"\n', "frequency"),
        ('[[channels]]\nname = "a"\nfrequency = "-5M"\n', "line 3"),
        ('[[rows]]\nbase = "1M"\nstep = "1k"\ncount = 0\n', "line 4"),
        ('[[rows]]\nbase = "1M"\nsteps = "1k"\ncount = 1\n', "line 3"),
        ('[[channels]]\nname="a"\nfrequency=1e6\n[[channels]]\nname="a"\nfrequency=2e6\n', "twice"),
    ],
)
def test_a_wrong_list_is_told(text: str, words: str) -> None:
    with pytest.raises(InputError, match=words):
        parse_channels(text, name="list.toml")


@pytest.mark.parametrize("text", ["0+1k*2", "1M+0*2", "1M+1k*0", "x+1k*2", "1M+1k*999999"])
def test_a_row_that_cannot_be_is_told(text: str) -> None:
    with pytest.raises(UsageError):
        parse_row(text)


@given(st.text())
def test_any_text_is_a_row_or_not_or_an_error_of_ours(text: str) -> None:
    with suppress(BenchError):
        parse_row(text)
