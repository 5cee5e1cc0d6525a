"""Reference carriers: published limits, channels and shapes, and what a reference is good for."""

import pytest

from calib.references import (
    ATSC_PILOT_HZ,
    ATSC_PILOTS_HZ,
    DAB_BLOCKS_HZ,
    DVBT_CHANNELS_HZ,
    KINDS,
    Reference,
    Shape,
    is_good_enough,
    reference_of,
)
from tests.values import references as published


def test_broadcast_limits_are_the_published_ones() -> None:
    fm = reference_of(KINDS["fm"], 98e6)
    assert fm.limit_hz == published.FM_LIMIT_HZ
    assert fm.u_ppm == pytest.approx(2000 / 3**0.5 / 98)
    ours_hz = ATSC_PILOT_HZ
    assert ours_hz == pytest.approx(published.ATSC_PILOT_HZ, abs=1e-3)


def test_a_reference_serves_only_where_its_u_is_small_enough() -> None:
    assert not is_good_enough(reference_of(KINDS["fm"], 98e6), 20.0)
    assert is_good_enough(reference_of(KINDS["fm"], 98e6), 50.0)
    assert is_good_enough(Reference(name="lab", nominal_hz=1e7, limit_hz=1.0), 1.0)


def test_every_kind_says_where_it_holds_and_by_whom() -> None:
    for kind in KINDS.values():
        assert kind.where
        assert kind.source
        assert kind.limit(100e6) > 0
        assert all(kind.holds_at(hz) for hz in kind.channels.values())


def test_the_channels_are_the_published_ones() -> None:
    assert dict(DAB_BLOCKS_HZ) == pytest.approx(
        {name: mhz * 1e6 for name, mhz in published.DAB_MHZ.items()}, abs=1e-3
    )
    for name, mhz in published.DVBT_MHZ.items():
        assert DVBT_CHANNELS_HZ[name] == pytest.approx(mhz * 1e6)
    for name, mhz in published.ATSC_PILOTS_MHZ.items():
        assert ATSC_PILOTS_HZ[name] == pytest.approx(mhz * 1e6, abs=1.0)


def test_a_channel_names_its_reference() -> None:
    reference = reference_of(KINDS["dab"], DAB_BLOCKS_HZ["5A"], channel="5A")
    assert reference.name == "dab 5A"
    assert reference.nominal_hz == 174.928e6
    assert reference.system == "dab"


def test_a_base_stations_limit_goes_by_its_band() -> None:
    kind = KINDS["base-station"]
    for hz, ppm in published.BASE_STATION_PPM.items():
        assert reference_of(kind, hz).limit_hz == pytest.approx(hz * ppm * 1e-6)
    assert not kind.holds_at(146e6)


def test_a_limits_shape_tells_its_divisor() -> None:
    stated = {"name": "x", "nominal_hz": 1e7, "limit_hz": 6.0}
    assert Reference(**stated, shape=Shape.RECTANGULAR).u_hz == pytest.approx(6.0 / 3**0.5)
    assert Reference(**stated, shape=Shape.NORMAL).u_hz == pytest.approx(3.0)
    assert Reference(**stated, shape=Shape.NORMAL).u_ppm == pytest.approx(0.3)
