"""A dongle is set as asked, in the right order, and nothing more is touched."""

import pytest

from sniff.errors import SourceError, UsageError
from tests.sources.dongle.conftest import Standin


def test_gain_is_the_nearest_step_with_the_if_amplifier_held(standin: Standin) -> None:
    source = standin.open(gain=30)
    assert source.gain_db == 29.7
    assert (standin.ask("manual"), standin.ask("gain")) == (1, 297)
    assert standin.ask("if_mode") == 10_008  # held at step 8, DONGLE facts sheet 0.6
    assert source.set_gain(21.0) == 20.7
    assert (standin.ask("gain"), standin.ask("if_mode")) == (207, 10_008)
    source.close()


def test_automatic_gain_leaves_the_if_amplifier_free_and_says_so(standin: Standin) -> None:
    source = standin.open(gain="auto")
    assert source.gain_db is None
    assert (standin.ask("manual"), standin.ask("if_mode")) == (0, 0)
    assert [caution.code for caution in source.info.cautions] == ["levels-not-fixed"]
    assert source.set_gain(10) == 8.7
    assert source.info.cautions == ()
    assert source.set_gain(None) is None
    assert (standin.ask("manual"), standin.ask("if_mode")) == (0, 0)
    source.close()


def test_bandwidth_is_set_on_purpose(standin: Standin) -> None:
    source = standin.open()
    assert standin.ask("bandwidth") == 1_920_000  # four fifths of the rate
    assert source.info.usable_fraction == 0.8
    source.close()
    source = standin.open(bandwidth_hz=600e3)
    assert standin.ask("bandwidth") == 600_000
    assert source.info.usable_fraction == 0.25
    source.close()


def test_what_it_says_of_itself(standin: Standin) -> None:
    standin.set(serials="BENCH7")
    source = standin.open("BENCH7", rate_hz=2.048e6, center_hz=83.6e6, gain=0)
    info = source.info
    source.close()
    assert (info.kind, info.name, info.serial) == ("dongle", "dongle:BENCH7", "BENCH7")
    assert (info.datatype, info.rail, info.duration_s) == ("cu8", 1.0, None)
    assert info.rate_hz == 2.048e6
    assert info.centers_hz[0] == pytest.approx(83.6e6, abs=20)
    assert info.tunable
    # Bandwidth 1.6384 MHz: filter 1600 kHz, IF 1900 kHz (DONGLE facts sheet 3.6).
    assert info.image_offset_hz == pytest.approx(2 * 1.9e6, abs=14)
    assert info.start_utc is not None
    assert info.start_utc.tzinfo is not None


@pytest.mark.parametrize("rate_hz", [0.0, 500e3, 3.3e6, float("nan"), float("inf"), -2.4e6])
def test_a_rate_that_the_chip_cannot_do_is_refused_before_opening(
    standin: Standin, rate_hz: float
) -> None:
    opens = standin.ask("opens")
    with pytest.raises(UsageError, match="none the chip can do"):
        standin.open(rate_hz=rate_hz)
    assert standin.ask("opens") == opens


def test_a_rate_that_loses_samples_is_cautioned(standin: Standin) -> None:
    source = standin.open(rate_hz=2.88e6)
    (caution,) = source.info.cautions
    source.close()
    assert caution.code == "rate-loses-samples"
    assert "2.88 MS/s" in caution.text


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"center_hz": float("nan")}, "not a frequency"),
        ({"center_hz": -1.0}, "not a frequency"),
        ({"gain": float("nan")}, "not a number"),
        ({"bandwidth_hz": 0.0}, "makes no sense"),
        ({"bandwidth_hz": float("inf")}, "makes no sense"),
    ],
)
def test_numbers_that_are_none_are_refused(
    standin: Standin, changes: dict[str, float], words: str
) -> None:
    with pytest.raises(UsageError, match=words):
        standin.open(**changes)


def test_below_the_tuner_the_way_out_is_named_and_the_dongle_left_closed(standin: Standin) -> None:
    with pytest.raises(SourceError, match=r"10\.700000 MHz cannot be tuned.*--direct q"):
        standin.open(center_hz=10.7e6)
    assert standin.ask("open_handles") == 0


def test_a_frequency_out_of_range_is_refused_and_the_old_one_kept(standin: Standin) -> None:
    source = standin.open()
    for bad_hz in (2e9, 1e6, float("nan"), float("inf")):
        with pytest.raises(SourceError, match=r"cannot be tuned|not a frequency"):
            source.tune(bad_hz)
    assert standin.ask("request") == 100_000_000
    assert source.info.centers_hz[0] == pytest.approx(100e6, abs=20)
    with pytest.raises(SourceError, match="not a number"):
        source.set_gain(float("inf"))
    source.close()


def test_direct_sampling_leaves_tuner_and_gain_out(standin: Standin) -> None:
    source = standin.open(center_hz=10.7e6, direct="q")
    assert standin.ask("direct") == 2
    assert source.gain_db is None
    assert source.set_gain(20.0) is None
    assert source.info.range_hz == (0.0, 14.4e6)
    assert source.info.image_offset_hz is None
    source.close()


def test_a_dongle_with_a_converter_of_its_own_needs_no_direct_sampling(standin: Standin) -> None:
    standin.set(tuner="v4")
    with pytest.raises(SourceError, match="leave --direct out"):
        standin.open(center_hz=10.7e6, direct="q")
    source = standin.open(center_hz=10.7e6)
    assert source.info.centers_hz[0] == pytest.approx(10.7e6, abs=20)
    source.close()


def test_the_bias_supply_is_off_unless_asked_for_and_off_again_at_the_end(
    standin: Standin,
) -> None:
    source = standin.open()
    assert standin.ask("bias") == 0
    source.close()
    assert standin.ask("bias_left_on") == 0
    source = standin.open(bias_supply=True)
    assert standin.ask("bias") == 1
    source.close()
    assert standin.ask("bias_left_on") == 0


def test_options_behind_the_drivers_back_are_cautioned(
    standin: Standin, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("LIBRTLSDR_OPT", "bw=0")
    source = standin.open()
    assert [caution.code for caution in source.info.cautions] == ["driver-options"]
    source.close()


def test_an_unknown_tuner_has_an_uncertainty_and_a_caution(standin: Standin) -> None:
    standin.set(tuner="fc2580")
    source = standin.open()
    assert source.tuning.u_center_hz > 0
    assert [caution.code for caution in source.info.cautions] == ["tuner-unknown"]
    source.close()


def test_a_closed_source_says_so_and_may_be_closed_again(standin: Standin) -> None:
    source = standin.open()
    source.close()
    source.close()
    for action in (
        lambda: source.tune(101e6),
        lambda: source.set_gain(0),
        lambda: next(iter(source.stream(seconds=1))),
    ):
        with pytest.raises(SourceError, match="was closed"):
            action()
