"""Levels in dBm: only where a known level was measured, and no better than that allows."""

from datetime import datetime, timedelta, timezone
from math import hypot, sqrt
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.errors import BenchError
from calib.levels import FAR, FAR_DB, NEAR, RIPPLE_DB, LevelPoint, point_of, scale_at
from calib.levelstore import level_store, parse, render

MADE = datetime(2026, 3, 2, 9, 30, tzinfo=timezone.utc)


def point(at_hz: float = 100e6, gain_db: float = 19.7, **changes: object) -> LevelPoint:
    facts: dict[str, object] = {
        "name": "A7",
        "at_hz": at_hz,
        "gain_db": gain_db,
        "offset_db": -11.5,
        "u_db": 0.6,
        "made": MADE,
    }
    return LevelPoint(**{**facts, **changes})  # type: ignore[arg-type]


def test_a_limit_and_the_reading_combine_by_quadrature() -> None:
    """A limit is rectangular, u = a / sqrt(3) (JCGM 100:2008, 4.3.7); 5.1.2 adds squares."""
    made = point_of(
        name="A7",
        at_hz=100e6,
        gain_db=19.7,
        known_dbm=-30.0,
        limit_db=1.5,
        level_dbfs=-18.5,
        u_level_db=0.2,
        made=MADE,
    )
    assert made.offset_db == pytest.approx(-11.5)
    assert made.u_db == pytest.approx(hypot(1.5 / sqrt(3), 0.2))


def test_a_point_holds_where_it_was_taken_and_widens_with_distance() -> None:
    here = scale_at([point()], at_hz=100e6, gain_db=19.7)
    assert here is not None
    assert here.offset_db == -11.5
    assert here.u_db == pytest.approx(hypot(0.6, RIPPLE_DB / sqrt(3)))
    octave = scale_at([point()], at_hz=FAR * 100e6, gain_db=19.7)
    assert octave is not None
    assert octave.u_db == pytest.approx(hypot(0.6, RIPPLE_DB / sqrt(3), FAR_DB / sqrt(3)))


@given(st.floats(20e6, 1.7e9))
def test_beyond_an_octave_nothing_is_said(at_hz: float) -> None:
    scale = scale_at([point()], at_hz=at_hz, gain_db=19.7)
    within = 100e6 / FAR <= at_hz <= 100e6 * FAR
    assert (scale is not None) == within
    if scale is not None and 100e6 / NEAR < at_hz < 100e6 * NEAR:
        assert scale.u_db == pytest.approx(hypot(0.6, RIPPLE_DB / sqrt(3)))


def test_another_gain_or_an_automatic_one_has_no_dbm() -> None:
    assert scale_at([point()], at_hz=100e6, gain_db=20.7) is None
    assert scale_at([point()], at_hz=100e6, gain_db=None) is None


def test_the_nearest_point_speaks_and_of_two_at_one_place_the_newest() -> None:
    old, far = point(), point(at_hz=150e6, offset_db=-9.0)
    new = point(offset_db=-12.25, made=MADE + timedelta(days=3))
    for points in ([old, far, new], [new, old, far]):
        near = scale_at(points, at_hz=104e6, gain_db=19.7)
        assert near is not None
        assert near.point == new
        high = scale_at(points, at_hz=140e6, gain_db=19.7)
        assert high is not None
        assert high.point == far


def test_points_survive_the_disk_and_a_newer_file_is_refused(tmp_path: Path) -> None:
    kept = level_store(tmp_path)
    kept.add("A7", point())
    kept.add("A7", point(at_hz=433e6))
    assert kept.history("A7") == (point(), point(at_hz=433e6))
    newer = render((point(),)).replace('"format": 1', '"format": 2')
    with pytest.raises(BenchError, match="newer version"):
        parse(newer, name="x")
    (tmp_path / "A7.json").write_text(render((point(),)).replace("-11.5", "NaN"))
    with pytest.raises(BenchError, match="damaged"):
        kept.history("A7")
