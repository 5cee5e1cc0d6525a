"""The systems as their standards state them."""

import pytest

from sniff.multiplex.systems import SYSTEMS
from tests.values import ofdm as published


def test_dab_mode_i_is_the_standards() -> None:
    (dab,) = SYSTEMS["dab"]
    (rhythm,) = dab.rhythms
    t_s = 1.0 / published.DAB["rate_hz"]
    assert rhythm.period_s == pytest.approx(published.DAB["frame_s"], rel=1e-12)
    assert rhythm.period_s == pytest.approx(published.DAB["frame_t"] * t_s, rel=1e-12)
    assert rhythm.guard_s == pytest.approx(published.DAB["guard_t"] * t_s, rel=1e-12)
    assert dab.spacing_hz == pytest.approx(published.DAB["spacing_hz"], rel=1e-12)
    assert len(rhythm.starts_s) == published.DAB["symbols"]
    assert rhythm.starts_s[0] == pytest.approx(published.DAB["null_t"] * t_s, rel=1e-12)
    # The last symbol ends where the frame does.
    last_s = rhythm.starts_s[-1] + published.DAB["symbol_t"] * t_s
    assert last_s == pytest.approx(rhythm.period_s, rel=1e-12)
    assert 2 * dab.reach == published.DAB["carriers"]
    assert dab.middle_empty


@pytest.mark.parametrize("mode", [2, 8])
def test_dvbt_is_the_standards(mode: int) -> None:
    useful_s, spacing_hz, carriers, pilots = published.DVBT_8MHZ[mode]
    (system,) = (s for s in SYSTEMS["dvbt8"] if s.name == f"DVB-T {mode}k in 8 MHz")
    assert system.useful_s == pytest.approx(useful_s, rel=1e-12)
    assert system.spacing_hz == pytest.approx(spacing_hz, abs=0.5)
    assert 2 * system.reach + 1 == carriers
    assert len(set(system.pilots)) == pilots
    assert min(system.pilots) == -system.reach
    assert max(system.pilots) == system.reach
    assert all((place + system.reach) % 3 == 0 for place in system.pilots)
    shares = [rhythm.guard_s / rhythm.useful_s for rhythm in system.rhythms]
    assert shares == pytest.approx([1 / 4, 1 / 8, 1 / 16, 1 / 32])
    assert 2 * system.half_width_hz == pytest.approx(published.DVBT_BANDWIDTH_HZ, rel=1e-3)


@pytest.mark.parametrize("width", [6, 7])
def test_narrower_channels_are_slower_by_their_width(width: int) -> None:
    for narrow, wide in zip(SYSTEMS[f"dvbt{width}"], SYSTEMS["dvbt8"], strict=True):
        assert narrow.useful_s / wide.useful_s == pytest.approx(
            published.DVBT_T_S[width] / published.DVBT_T_S[8], rel=1e-12
        )
