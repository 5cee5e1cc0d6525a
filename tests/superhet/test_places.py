"""Places on the board: what a plan expects there, and where a file's mistakes are."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sniff.errors import InputError, UsageError
from sniff.job.sheet import quoted
from sniff.superhet.at_place import lines_at, place_named
from sniff.superhet.place import PlacedLine, PlaceError, PlannedPlace, checked_name
from sniff.superhet.plan import Plan, Role, Side, carry
from sniff.superhet.planfile import parse_plan

DIVERSITY = """\
carrier = "184.6M"
if = "10.7M"
side = "high"
multiplier = 3

[[places]]
name = "LO output"
[[places.lines]]
name = "LO"
level = "-36dBFS"
within = "4dB"
[[places.lines]]
name = "crystal x 2"

[[places]]
name = "feed B"
carrier = "186.2M"
[[places.lines]]
name = "lo"
"""


def test_places_read_as_they_are_written() -> None:
    assert parse_plan(DIVERSITY, name="set.toml").places == (
        PlannedPlace(
            name="LO output",
            lines=(
                PlacedLine(name="LO", level_dbfs=-36.0, within_db=4.0),
                PlacedLine(name="crystal x 2"),
            ),
        ),
        PlannedPlace(name="feed B", lines=(PlacedLine(name="lo"),), carrier_hz=186.2e6),
    )


def test_a_plan_without_places_has_none() -> None:
    assert parse_plan('carrier = "72.9M"\n', name="set.toml").places == ()


def test_a_place_expects_its_own_lines_and_all_of_them() -> None:
    """LO = carrier + IF on the high side, the crystal a third of it, by hand."""
    plan = parse_plan(DIVERSITY, name="set.toml")
    there = lines_at(plan, plan.places[0])
    assert [line.expected.name for line in there] == ["LO", "crystal × 2"]
    assert [line.expected.expected_hz for line in there] == pytest.approx([195.3e6, 130.2e6])
    assert all(line.expected.wanted for line in there)
    assert there[0].stated.level_dbfs == -36.0


def test_a_place_of_another_channel_expects_that_channels_lines() -> None:
    plan = parse_plan(DIVERSITY, name="set.toml")
    (line,) = lines_at(plan, plan.places[1])
    assert line.expected.expected_hz == pytest.approx(196.9e6)
    assert line.expected.formula == "186.2 MHz + 10.7 MHz"


def test_a_sibling_moves_all_its_channels_by_the_same_step() -> None:
    sibling = carry(parse_plan(DIVERSITY, name="set.toml"), 188.2e6)
    assert [place.carrier_hz for place in sibling.places] == [None, pytest.approx(189.8e6)]
    (line,) = lines_at(sibling, sibling.places[1])
    assert line.expected.expected_hz == pytest.approx(200.5e6)


def test_a_place_may_expect_what_is_there_while_something_is_received() -> None:
    plan = Plan(carrier_hz=72.9e6, if_hz=10.7e6, side=Side.HIGH)
    place = PlannedPlace(name="mixer", lines=(PlacedLine(name="IF"), PlacedLine(name="carrier")))
    assert [line.expected.role for line in lines_at(plan, place)] == [Role.IF, Role.CARRIER]


@pytest.mark.parametrize("name", ["feed B", "FEED b", "  feed   B "])
def test_a_place_is_found_however_it_is_spelt(name: str) -> None:
    found = place_named(parse_plan(DIVERSITY, name="set.toml"), name)
    assert found is not None
    assert found.name == "feed B"


def test_an_unknown_place_is_told_with_those_there_are() -> None:
    with pytest.raises(UsageError, match="no place 'feed C'; it has LO output, feed B") as raised:
        place_named(parse_plan(DIVERSITY, name="set.toml"), "feed C")
    assert raised.value.exit_code == 2
    assert place_named(Plan(carrier_hz=72.9e6), "feed C") is None


@pytest.mark.parametrize("name", ["", "  \t", "a\x1b[2J", "x" * 61])
def test_what_is_no_name_is_refused(name: str) -> None:
    with pytest.raises(UsageError, match="is no name of a place"):
        checked_name(name)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (
            'name = "LO"',
            'name = "L0"',
            "line 9: LO output cannot expect 'L0'; the plan has carrier, LO",
        ),
        ('name = "lo"', 'name = "second LO"', "line 19: feed B cannot expect 'second LO'"),
        ('name = "lo"', 'name = "image"', "line 19: feed B cannot expect 'image'"),
        ('"crystal x 2"', '"LO"', "line 13: 'LO' stands twice at 'LO output'"),
        ('"feed B"', '"lo OUTPUT"', "line 16: there is a place 'lo OUTPUT' before"),
        ('"feed B"', '" "', "line 16: '' is no name of a place"),
        ('"-36dBFS"', "-36", "line 10: places.0.lines.0.level: a level is a text with its unit"),
        ('"-36dBFS"', '"-36dBm"', "line 10: places.0.lines.0.level: '-36dBm' is not a level in"),
        ('level = "-36dBFS"\n', "", "line 10: LO: within says nothing without a level"),
        ('"4dB"', '"-4dB"', "line 11: places.0.lines.0.within: Input should be greater"),
        ('[[places.lines]]\nname = "lo"\n', "lines = []\n", "line 18: place 'feed B' expects no"),
        ('[[places.lines]]\nname = "lo"\n', "", "line 15: places.1.lines: this key is missing"),
        ('"186.2M"', '"-1M"', "line 17: places.1.carrier: Input should be greater than 0"),
    ],
)
def test_a_mistake_is_named_with_its_line(old: str, new: str, message: str) -> None:
    text = DIVERSITY.replace(old, new, 1)
    assert text != DIVERSITY
    with pytest.raises(InputError) as raised:
        parse_plan(text, name="set.toml")
    assert f"set.toml, {message}" in str(raised.value)
    assert "\n" not in str(raised.value)


def test_a_channel_that_its_ifs_do_not_reach_is_named_with_its_line() -> None:
    text = DIVERSITY.replace('side = "high"', 'side = "low"').replace('"186.2M"', '"9M"')
    with pytest.raises(InputError, match=r"set\.toml, line 17: low-side injection brings 9 MHz"):
        parse_plan(text, name="set.toml")


def test_a_place_can_also_be_made_by_hand_only_right() -> None:
    with pytest.raises(PlaceError, match="expects no line"):
        PlannedPlace(name="feed A", lines=())
    with pytest.raises(PlaceError, match="must not be negative"):
        PlacedLine(name="LO", level_dbfs=-36.0, within_db=-1.0)


def test_a_name_is_kept_in_one_line() -> None:
    assert PlannedPlace(name=" feed\n B ", lines=(PlacedLine(name="LO"),)).name == "feed B"


WORDS = st.text(max_size=12) | st.sampled_from(["LO", "crystal x 2", "feed A", "-41dBFS", "6dB"])


@given(
    places=st.lists(
        st.tuples(WORDS, st.lists(st.tuples(WORDS, WORDS, WORDS), max_size=2)), max_size=3
    )
)
@settings(max_examples=60)
def test_any_places_are_read_or_refused_in_one_line(
    places: list[tuple[str, list[tuple[str, str, str]]]],
) -> None:
    text = 'carrier = "72.9M"\nif = "10.7M"\nside = "high"\nmultiplier = 3\n'
    for name, lines in places:
        text += f"[[places]]\nname = {quoted(name)}\n"
        for line, level, within in lines:
            text += f"[[places.lines]]\nname = {quoted(line)}\n"
            text += f"level = {quoted(level)}\nwithin = {quoted(within)}\n"
    plan, refused = None, ""
    try:
        plan = parse_plan(text, name="set.toml")
    except InputError as error:
        refused = str(error)
    if plan is None:
        assert refused.startswith("set.toml")
        assert len(refused.splitlines()) == 1
        return
    assert [len(lines_at(plan, place)) for place in plan.places] == [
        len(lines) for _, lines in places
    ]
