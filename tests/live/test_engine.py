"""The live board's measuring, by what a scene plants."""

import asyncio
from contextlib import suppress
from dataclasses import replace
from struct import unpack_from

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.correction import Converter, Correction
from sniff.board import LineState
from sniff.errors import UsageError
from sniff.live.commands import MOST_BYTES, Tune, parse_command
from sniff.live.engine import Engine, LineEvent
from sniff.live.hub import MOST_WAITING, Hub
from sniff.live.memory import Memory
from sniff.live.nouns import Frame, LiveLine
from sniff.live.packing import HEADER, pack_frame
from sniff.live.scope import FLOOR_DBFS, STEP_DB, bins_for
from sniff.model import IQBlock
from sniff.sources.ahead import Ahead
from sniff.sources.bench import open_bench
from sniff.sources.recording.datatypes import find_datatype
from sniff.superhet.expected import expected_lines
from sniff.superhet.plan import Plan, Role, Side
from sniff.units import parse_tolerance

PLAN = Plan(
    carrier_hz=72.9e6,
    if_hz=10.7e6,
    side=Side.HIGH,
    multiplier=3,
    tolerance=parse_tolerance("50ppm"),
)
CLOCK = Correction(ppm=28.8, u_ppm=0.3, origin="planted")


def heard(scene: str, seconds: float) -> tuple[list[Frame], list[LineEvent]]:
    source = open_bench(scene, center_hz=83.5e6, rate_hz=2.4e6)
    lines = [
        LiveLine(expected=line, window_hz=10 * line.tolerance_hz)
        for line in expected_lines(PLAN)
        if line.radiated
    ]
    engine = Engine(lines, info=source.info, correction=CLOCK)
    frames, events = [], []
    for block in source.stream(seconds=seconds):
        step = engine.push(block)
        frames += [] if step.frame is None else [step.frame]
        events += step.events
    source.close()
    return frames, events


def test_a_mended_set_is_present_within_its_tolerance_and_nothing_happens() -> None:
    frames, events = heard("tour-guide-mended", 4.0)
    row = frames[-1].rows[0]
    assert row.state is LineState.PRESENT
    assert row.dropouts == 0
    assert not [event for event in events if event.row == 0]
    assert row.frequency_hz is not None
    assert row.expanded_hz is not None
    assert abs(row.error_ppm or 0.0) < 50.0
    # A pure clock term of 0.3 ppm at 83.6 MHz, k = 2 (JCGM 100:2008, 5.1.2 and 6.2.1).
    assert row.expanded_hz >= 2 * 0.3e-6 * 83.6e6
    assert len(frames) == pytest.approx(4.0 * 30.0, rel=0.1)


def test_a_deaf_set_drops_out_and_says_so() -> None:
    frames, events = heard("tour-guide-deaf", 6.0)
    assert frames[-1].rows[0].dropouts >= 3
    gone = [event for event in events if event.row == 0 and not event.there]
    assert gone
    assert any(event.dropout is not None for event in events)
    states = {frame.rows[0].state for frame in frames}
    assert {LineState.ABSENT, LineState.UNSTEADY} <= states


def test_a_step_of_the_gain_is_no_drop_out_and_makes_no_line_weak() -> None:
    """The bench's tuner has steps: 40.2 and 20.7 dB are 19.5 dB apart (the driver's list)."""
    source = open_bench("tour-guide-mended", center_hz=83.5e6, rate_hz=2.4e6, gain_db=40.2)
    (lo,) = [line for line in expected_lines(PLAN) if line.role is Role.LO]
    line = LiveLine(expected=lo, window_hz=10 * lo.tolerance_hz, sibling_dbfs=-38.0)
    engine = Engine([line], info=source.info, correction=CLOCK)
    rows, events = [], []
    for gain_db in (40.2, 20.7):
        source.set_gain(gain_db)
        if rows:
            engine.gained(20.7 - 40.2)
        for block in source.stream(seconds=2.5):
            step = engine.push(block)
            events += step.events
            rows += [] if step.frame is None else [step.frame.rows[0]]
    source.close()
    against_db = [row.against_db for row in rows if row.against_db is not None]
    # The scene's IF amplifier controls itself a little.
    assert against_db[-1] == pytest.approx(against_db[0], abs=4.0)
    assert rows[-1].state is LineState.PRESENT
    assert rows[-1].dropouts == 0
    assert events == []


def test_a_planted_tone_stands_in_its_point_at_its_level() -> None:
    """Amplitude 0.1 is -20 dBFS; -113 kHz from the centre, corrected by the clock."""
    rate_hz, center_hz = 1.024e6, 100e6
    n = np.arange(200_000)
    samples = (0.1 * np.exp(-2j * np.pi * 113e3 * n / rate_hz)).astype(np.complex64)
    block = IQBlock(samples=samples, rate_hz=rate_hz, center_hz=center_hz, index=0)
    source = open_bench("tour-guide-mended", rate_hz=rate_hz)
    engine = Engine([], info=source.info, correction=CLOCK)
    source.close()
    frame = engine.push(block).frame
    assert frame is not None
    best = int(frame.levels.argmax())
    at_hz = frame.first_hz + best * frame.step_hz
    assert at_hz == pytest.approx((center_hz - 113e3) * (1 + 28.8e-6), abs=frame.step_hz)
    assert FLOOR_DBFS + STEP_DB * frame.levels[best] == pytest.approx(-20.0, abs=1.5)
    packed = pack_frame(frame)
    assert packed is not None
    assert len(packed) == HEADER.size + frame.levels.size
    assert unpack_from("<H", packed, 2)[0] == frame.levels.size


@given(st.floats(1.0, 1e6))
def test_an_rbw_is_met_within_a_factor_of_the_root_of_two_or_at_an_end(rbw_hz: float) -> None:
    bins = bins_for(rbw_hz, 2.4e6)
    got_hz = 1.5 * 2.4e6 / bins
    assert bins in (1024, 65_536) or 2**-0.51 <= got_hz / rbw_hz <= 2**0.51


@given(st.text(max_size=300))
def test_whatever_a_page_sends_is_a_command_or_a_mistake_of_the_user(text: str) -> None:
    with suppress(UsageError):
        parse_command(text)


@pytest.mark.parametrize(
    "message",
    [
        '{"do": "tune", "center_hz": NaN}',
        '{"do": "tune", "center_hz": -5}',
        '{"do": "keep", "seconds": 1e9}',
        '{"do": "photo", "path": "/etc/passwd"}',
        '{"do": "note", "words": "x", "file": "../x"}',
        '{"do": "note", "words": "' + "x" * MOST_BYTES + '"}',
        "[]",
    ],
)
def test_what_is_none_of_its_commands_is_refused(message: str) -> None:
    with pytest.raises(UsageError):
        parse_command(message)


def test_a_command_is_read() -> None:
    assert parse_command('{"do": "tune", "center_hz": 83.5e6}') == Tune(do="tune", center_hz=83.5e6)


def test_a_slow_viewer_gets_the_newest_and_no_event_is_lost() -> None:
    async def look() -> None:
        hub = Hub()
        viewer = hub.join(local=True)
        for number in range(50):
            hub.frame(spectrum=bytes([number]), board=None)
        hub.tell("a")
        hub.tell("b")
        events, newest = await hub.next(viewer)
        assert events == ["a", "b"]
        assert newest is not None
        assert newest.spectrum == bytes([49])
        assert viewer.skipped == 49

    asyncio.run(look())


def test_a_viewer_that_never_reads_is_let_go_of_in_bounded_memory() -> None:
    async def look() -> None:
        hub = Hub()
        viewer = hub.join(local=False)
        for _ in range(10 * MOST_WAITING):
            hub.tell("event")
        assert viewer.overrun
        assert len(viewer.events) == MOST_WAITING

    asyncio.run(look())


def test_a_later_viewer_is_told_what_lasts_and_a_phone_no_link() -> None:
    async def look() -> None:
        hub = Hub()
        hub.tell("hello 1", lasting="hello")
        hub.tell("hello 2", lasting="hello")
        hub.tell("link", lasting="invitation", local_only=True)
        assert list(hub.join(local=True).events) == ["hello 2", "link"]
        assert list(hub.join(local=False).events) == ["hello 2"]

    asyncio.run(look())


def test_what_lies_ahead_is_taken_out_of_what_is_kept() -> None:
    """A pad of 20 dB and an inverting converter: the receiver's own codes and centre again."""
    rng = np.random.default_rng(5)
    datatype = find_datatype("cu8")
    native = rng.integers(0, 256, 2 * 5_000, dtype=np.uint8)
    sent = datatype.to_complex64(native)
    ahead = Ahead(converter=Converter(shift_hz=125e6, inverted=True), pad_db=20.0)
    memory = Memory(datatype, seconds=1.0, ahead=ahead)
    on_air = IQBlock(
        samples=(10.0 * sent.conj()).astype(np.complex64),
        rate_hz=100e3,
        center_hz=44e6,
        index=700,
    )
    memory.push(on_air)
    (kept,) = memory.last(1.0)
    assert kept.center_hz == 125e6 - 44e6
    assert np.array_equal(datatype.from_complex64(kept.samples), native)


def test_the_doubt_about_the_tuners_centre_is_in_u() -> None:
    source = open_bench("tour-guide-mended", center_hz=83.5e6, rate_hz=1.024e6)
    line = next(line for line in expected_lines(PLAN) if line.role is Role.LO)
    u_hz = []
    for center_hz in (0.0, 300.0):
        info = replace(source.info, u_center_hz=center_hz)
        engine = Engine([LiveLine(expected=line, window_hz=5e3)], info=info, correction=CLOCK)
        for block in source.stream(seconds=3.0):
            engine.push(block)
        (row,) = engine.rows()
        assert row.expanded_hz is not None
        u_hz.append(row.expanded_hz / 2.0)
    source.close()
    assert u_hz[1] == pytest.approx(np.hypot(u_hz[0], 300.0), rel=0.05)


def test_a_line_that_is_not_there_comes_with_the_level_at_which_one_would_be_seen() -> None:
    source = open_bench("tour-guide-dead", center_hz=83.5e6, rate_hz=1.024e6)
    line = next(line for line in expected_lines(PLAN) if line.role is Role.LO)
    engine = Engine([LiveLine(expected=line, window_hz=5e3)], info=source.info, correction=CLOCK)
    for block in source.stream(seconds=3.0):
        engine.push(block)
    source.close()
    (row,) = engine.rows()
    assert row.state is LineState.ABSENT
    assert "would have been seen" in row.why


def test_the_memory_gives_back_the_last_seconds_bit_by_bit() -> None:
    rng = np.random.default_rng(3)
    datatype = find_datatype("cu8")
    memory = Memory(datatype, seconds=2.0)
    blocks = []
    for number in range(30):
        native = rng.integers(0, 256, 2 * 12_000, dtype=np.uint8)
        blocks.append(
            IQBlock(
                samples=datatype.to_complex64(native),
                rate_hz=100e3,
                center_hz=80e6,
                index=12_000 * number,
            )
        )
        memory.push(blocks[-1])
    assert 2.0 <= memory.seconds <= 2.2
    last = memory.last(0.5)
    assert [block.index for block in last] == [12_000 * number for number in range(25, 30)]
    for got, sent in zip(last, blocks[-5:], strict=True):
        assert np.array_equal(got.samples, sent.samples)
