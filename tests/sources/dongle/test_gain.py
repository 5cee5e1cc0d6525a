"""The largest gain that neither clips nor compresses."""

import math

import pytest

from sniff.sources.dongle.gain import GainTrial, best_gain_db
from sniff.sources.dongle.opening import open_dongle
from tests.sources.dongle.conftest import Standin

_STEPS_DB = tuple(float(step) for step in range(0, 50, 5))


def _best(
    *, clips_from: float = 99, floor_rises_from: float = 99, line_sags_from: float = 99
) -> float:
    def hear(gain_db: float) -> GainTrial:
        over_floor = max(0.0, gain_db - floor_rises_from)
        over_line = max(0.0, gain_db - line_sags_from)
        return GainTrial(
            gain_db=gain_db,
            at_rail=0.01 if gain_db >= clips_from else 0.0,
            # Below 15 dB of gain the converter's own noise hides the tuner's.
            floor_db=max(15.0, gain_db + over_floor) - 60,
            peak_db=gain_db - over_line,
        )

    return best_gain_db(_STEPS_DB, hear)


def test_without_overload_the_highest_step_is_best() -> None:
    assert _best() == 45


def test_the_step_below_the_first_overload_is_best() -> None:
    assert _best(clips_from=30) == 25
    assert _best(floor_rises_from=25) == 25
    assert _best(line_sags_from=20) == 20


def test_the_lowest_step_is_taken_where_all_overload() -> None:
    assert _best(clips_from=-1) == 0


def test_no_steps_are_refused() -> None:
    with pytest.raises(ValueError, match="no gains"):
        best_gain_db((), lambda gain_db: GainTrial(gain_db=0, at_rail=0, floor_db=0, peak_db=0))


def test_best_gain_on_the_dongle_keeps_the_line_below_full_scale(standin: Standin) -> None:
    standin.set(tone_dbfs=-38.5, pace=20)
    source = open_dongle(None, rate_hz=2.4e6, center_hz=100e6, gain="best")
    gain_db = source.gain_db
    source.close()
    # A tone of amplitude A reaches the converter's ends where A > 1 - half a step, so the
    # largest of the R820T's steps (DONGLE facts sheet) below 38.5 dB is 37.2 dB; noise at
    # -75 dBFS below the tone changes nothing.
    assert gain_db == 37.2


def test_best_gain_on_the_dongle_stops_where_the_front_end_saturates(standin: Standin) -> None:
    standin.set(tone_dbfs=-30, limit=0.3, pace=20)
    source = open_dongle(None, rate_hz=2.4e6, center_hz=100e6, gain="best")
    gain_db = source.gain_db
    source.close()
    assert gain_db is not None
    # limit * tanh(A / limit) falls 3 dB behind A near A = 1.5 limit (closed form), which is
    # 20 lg(0.45) = -7 dBFS: 23 dB of gain; the share of the next steps is within a step.
    amplitude = 10 ** ((gain_db - 30) / 20)
    assert 20 * math.log10(amplitude / (0.3 * math.tanh(amplitude / 0.3))) < 3.5
    assert 19.7 <= gain_db <= 28.0
