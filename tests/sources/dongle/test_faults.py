"""Whatever goes wrong with a dongle ends in plain words, and what was heard is kept."""

import threading
import time
from collections.abc import Iterator

import numpy as np
import pytest

from sniff.errors import SourceError
from sniff.model import IQBlock
from sniff.sources.dongle import DongleLostError, DongleSource
from sniff.sources.dongle.library import load_driver
from sniff.sources.dongle.link import Settings
from sniff.sources.dongle.session import Session
from sniff.sources.dongle.settling import SettlingRule
from tests.sources.dongle.conftest import Standin
from tests.sources.dongle.listening import gaps

_BUFFER = 8192  # samples in one of the driver's buffers at 2.4 MS/s


def _drain(stream: Iterator[IQBlock]) -> tuple[list[IQBlock], str]:
    """Blocks till the end or the loss of the dongle, and the words about that."""
    blocks: list[IQBlock] = []
    try:
        for block in stream:
            blocks.append(block)  # noqa: PERF402 — what came before the error is wanted
    except DongleLostError as error:
        return blocks, str(error)
    return blocks, ""


def _hear(source: DongleSource, seconds: float | None) -> tuple[list[IQBlock], str]:
    return _drain(source.stream(seconds=seconds))


@pytest.mark.parametrize(
    ("variables", "words"),
    [
        ({"count": 0}, "no dongle is seen"),
        ({"open": -6}, "another program has it"),
        ({"open": -3}, "udev|WinUSB|does not let"),
        ({"open": -1}, "does not answer .driver error -1."),
        ({"open": -7}, "short cable and no hub"),
        ({"stall": 0}, "has sent nothing for 0.3 s"),
        ({"unplug": 0}, "no dongle is seen"),
        ({"tune": -9}, r"failed while tuning to 100 MHz \(driver error -9\)"),
    ],
)
def test_a_dongle_that_cannot_be_used_says_why_and_is_left_closed(
    standin: Standin, variables: dict[str, int], words: str
) -> None:
    standin.set(**variables)
    with pytest.raises(SourceError, match=words) as raised:
        standin.open(stall_s=0.3)
    assert "\n" not in str(raised.value)
    assert standin.ask("open_handles") == 0


def test_a_dongle_that_is_open_already_is_busy(standin: Standin) -> None:
    first = standin.open()
    with pytest.raises(SourceError, match="another program has it"):
        standin.open()
    assert _hear(first, 0.02)[1] == ""


def test_an_unplugged_dongle_gives_all_it_sent_and_then_says_so(standin: Standin) -> None:
    source = standin.open(rule=SettlingRule(least_s=0, most_s=0))
    last = standin.soon(100)
    standin.set(unplug=last)
    blocks, words = _hear(source, None)
    assert "unplugged" in words
    assert blocks[-1].end_index == last // 2
    assert gaps(blocks) == []
    assert standin.ask("open_handles") == 0
    with pytest.raises(SourceError, match="no dongle is seen"):
        source.tune(101e6)


def test_a_dongle_that_is_plugged_in_again_is_opened_and_set_anew(standin: Standin) -> None:
    source = standin.open(serial="00000001", gain=29.7)
    center_hz = source.tune(100.2e6)
    standin.set(unplug=standin.soon(60))
    before, words = _hear(source, None)
    assert words
    standin.set(unplug=None, count=2, serials="OTHER,00000001")  # it has another number now
    standin.ask("forget")
    after, words = _hear(source, 0.05)
    assert words == ""
    assert after[0].center_hz == center_hz
    assert after[0].index > before[-1].end_index
    assert standin.ask("request") == 100_200_000
    assert (standin.ask("gain"), standin.ask("if_mode")) == (297, 10_008)


def test_waiting_bridges_the_time_unplugged_with_a_gap_of_that_length(standin: Standin) -> None:
    standin.set(pace=1)
    source = standin.open(wait=True)
    standin.set(unplug=standin.soon(30), **{"return": 0.3})
    started_s = time.monotonic()
    blocks, words = _hear(source, 1.0)
    took_s = time.monotonic() - started_s
    assert words == ""
    ((start, stop),) = gaps(blocks)
    # Back after 0.3 s, found within a quarter of a second.
    assert 0.3 <= (stop - start) / 2.4e6 < 0.7
    # The second asked for includes the time unplugged.
    assert (blocks[-1].end_index - blocks[0].index) / 2.4e6 == pytest.approx(1.0, abs=1e-3)
    assert took_s == pytest.approx(1.0, abs=0.2)


def test_waiting_in_vain_ends_with_the_time_asked_for(standin: Standin) -> None:
    standin.set(pace=1)
    source = standin.open(wait=True)
    standin.set(unplug=standin.soon(30))
    started_s = time.monotonic()
    blocks, words = _hear(source, 0.6)
    assert words == ""
    assert blocks
    assert time.monotonic() - started_s == pytest.approx(0.6, abs=0.4)


def test_waiting_ends_when_the_source_is_closed(standin: Standin) -> None:
    source = standin.open(wait=True)
    standin.set(unplug=standin.soon(30))
    closing = threading.Timer(0.3, source.close)
    closing.start()
    with pytest.raises(SourceError):
        list(source.stream(seconds=None))
    closing.join()


def test_a_dongle_that_falls_silent_is_told_from_one_that_is_gone(standin: Standin) -> None:
    source = standin.open(stall_s=0.3, rule=SettlingRule(least_s=0, most_s=0))
    last = standin.soon(50)
    standin.set(stall=last)
    blocks, words = _hear(source, None)
    assert "has sent nothing for 0.3 s" in words
    assert blocks[-1].end_index == last // 2
    standin.set(stall=None)
    assert _hear(source, 0.05)[1] == ""


def test_a_short_buffer_is_a_gap_and_counted(standin: Standin) -> None:
    source = standin.open(rule=SettlingRule(least_s=0, most_s=0))
    short = standin.soon(40)
    standin.set(short=short)
    blocks, words = _hear(source, 0.4)
    assert words == ""
    assert gaps(blocks) == [(short // 2 + _BUFFER // 2, short // 2 + _BUFFER)]
    assert source.lost_samples == _BUFFER // 2
    (caution,) = source.info.cautions
    assert caution.code == "samples-lost"
    assert str(_BUFFER // 2) in caution.text


def test_samples_lost_in_silence_are_found_by_the_hosts_clock(standin: Standin) -> None:
    dropped = 240_000
    standin.set(pace=1)
    source = standin.open()
    standin.set(drop=f"{int(1.2 * 2 * 2.4e6)}:{2 * dropped}")
    blocks, words = _hear(source, 4.2)
    assert words == ""
    ((start, stop),) = gaps(blocks)
    assert stop - start == pytest.approx(dropped, abs=24_000)  # a hundredth of a second
    assert source.lost_samples == stop - start


def test_a_reader_that_is_too_slow_loses_samples_and_is_told_how_many(standin: Standin) -> None:
    settings = Settings(
        rate_hz=2_400_000, bandwidth_hz=1_920_000, request_hz=100_000_000, gain_db=20.7
    )
    session = Session(
        load_driver(),
        None,
        settings,
        made_hz=2.4e6,
        stall_s=1.0,
        name="dongle",
        queue_bytes=2 * 20 * _BUFFER,
    )
    source = DongleSource(
        session, name="dongle", wait=False, rule=SettlingRule(least_s=0, most_s=0)
    )
    stream = source.stream(seconds=None)
    first = next(stream)
    last = standin.soon(300)
    standin.set(unplug=last)
    time.sleep(0.1)  # 0.4 s of the dongle's time, 117 buffers, and 20 fit
    rest, words = _drain(stream)
    assert "unplugged" in words
    heard = [first, *rest]
    source.close()
    assert gaps(heard)
    missing = last // 2 - heard[0].index - sum(block.samples.size for block in heard)
    assert source.lost_samples == missing
    assert missing > 40 * _BUFFER


def test_a_synthesiser_that_stands_where_it_should_is_left_alone(standin: Standin) -> None:
    source = standin.open()
    center_hz = source.tune(100.3e6)
    standin.set(tune=-9)  # any setting of it would fail
    assert source.tune(100.3e6) == center_hz
    with pytest.raises(SourceError, match="failed while tuning"):
        source.tune(101e6)


def test_a_setting_that_fails_drops_the_handle_and_the_next_one_works(standin: Standin) -> None:
    source = standin.open()
    stream = source.stream(seconds=None)
    next(stream)
    opens = standin.ask("opens")
    standin.set(tune=-9)
    with pytest.raises(SourceError, match="failed while tuning"):
        source.tune(101e6)  # while samples come: the wrapper's own way would hang here
    standin.set(tune=None)
    center_hz = source.tune(100.3e6)
    assert standin.ask("opens") > opens
    block = next(stream)
    while block.center_hz != center_hz:
        block = next(stream)
    assert np.abs(block.samples).mean() == pytest.approx(10 ** ((-40 + 20.7) / 20), rel=0.05)


def test_a_failure_that_does_not_come_again_goes_unnoticed(standin: Standin) -> None:
    source = standin.open()
    opens = standin.ask("opens")
    standin.set(tune_once=-9)
    assert source.tune(101e6) == pytest.approx(101e6, abs=20)
    assert standin.ask("opens") == opens + 1


def test_a_synthesizer_that_does_not_lock_is_refused_and_the_old_tuning_comes_back(
    standin: Standin,
) -> None:
    standin.set(unlock_hz=1.5e9)
    source = standin.open()
    with pytest.raises(SourceError, match="failed while tuning to 1700 MHz"):
        source.tune(1.7e9)
    assert _hear(source, 0.02)[1] == ""
    assert standin.ask("request") == 100_000_000


def test_closing_from_another_thread_ends_a_stream_at_once(standin: Standin) -> None:
    source = standin.open()
    closing = threading.Timer(0.1, source.close)
    closing.start()
    started_s = time.monotonic()
    with pytest.raises(SourceError, match="was closed"):
        list(source.stream(seconds=None))
    assert time.monotonic() - started_s < 1.0
    closing.join()
