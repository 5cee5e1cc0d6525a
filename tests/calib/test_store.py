"""Profiles: kept whole, aged honestly, never lost, never mixed up."""

import re
from datetime import datetime, timedelta, timezone
from pathlib import Path

import pytest

from calib.errors import BenchError
from calib.profile import Profile
from calib.store import Store, render

MADE = datetime(2026, 1, 5, 12, 0, tzinfo=timezone.utc)


def profile(name: str = "00000001", ppm: float = 31.2, **changes: object) -> Profile:
    facts: dict[str, object] = {
        "name": name,
        "ppm": ppm,
        "u_ppm": 0.3,
        "made": MADE,
        "references": ("lab 10 MHz",),
        "temperature_c": 24.0,
    }
    return Profile(**{**facts, **changes})  # type: ignore[arg-type]


def test_what_is_saved_is_found_with_its_history(tmp_path: Path) -> None:
    store = Store(tmp_path / "clocks")
    assert store.find("00000001") is None
    first, second = profile(), profile(ppm=31.9, made=MADE + timedelta(days=9))
    store.save(first)
    store.save(second)
    assert store.find("00000001") == second
    assert store.history("00000001") == (first, second)
    assert store.names() == ("00000001",)
    assert [path.name for path in (tmp_path / "clocks").iterdir()] == ["00000001.json"]


def test_age_and_warmth_widen_it() -> None:
    """In quadrature, each rectangular: a / sqrt(3) (JCGM 100:2008, 4.3.7)."""
    fresh = profile().correction(MADE, temperature_c=24.0)
    assert fresh.u_ppm == pytest.approx(0.3)
    warm = profile().correction(MADE)
    assert warm.u_ppm == pytest.approx((0.3**2 + 2.0**2 / 3) ** 0.5)
    old = profile().correction(MADE + timedelta(days=730.5), temperature_c=24.0)
    assert old.u_ppm == pytest.approx((0.3**2 + 2.0**2 / 3) ** 0.5)
    assert "for age" in old.origin
    hotter = profile().correction(MADE, temperature_c=34.0)
    assert hotter.u_ppm == pytest.approx((0.3**2 + 3.0**2 / 3) ** 0.5)


def test_a_drift_widens_it_for_a_days_work() -> None:
    """±0.3 ppm an hour for two hours, rectangular: 0.6 / sqrt(3) (JCGM 100:2008, 4.3.7)."""
    drifting = profile(drift_ppm_per_hour=0.3)
    u = [
        drifting.correction(MADE + timedelta(hours=hours), temperature_c=24.0).u_ppm
        for hours in (0, 2, 8, 20)
    ]
    assert u[0] == pytest.approx(0.3)
    assert u[1] == pytest.approx((0.3**2 + 0.6**2 / 3) ** 0.5, rel=1e-5)
    assert u[2] == pytest.approx((0.3**2 + 2.4**2 / 3) ** 0.5, rel=1e-5)
    assert u[3] == pytest.approx(u[2], rel=1e-4)
    later = drifting.correction(MADE + timedelta(hours=2), temperature_c=24.0)
    assert "±0.6 ppm for drift since" in later.origin
    (part,) = (part for part in later.parts if part.cause.startswith("drift"))
    assert part.u_ppm == pytest.approx(0.6 / 3**0.5)
    assert part.distribution == "rectangular"


def test_a_file_from_before_drifts_were_kept_is_read(tmp_path: Path) -> None:
    kept = profile("x", drift_ppm_per_hour=0.25)
    Store(tmp_path).save(kept)
    assert Store(tmp_path).find("x") == kept
    (path,) = tmp_path.glob("x.json")
    older = re.sub(r',\s*"drift_ppm_per_hour": 0.25', "", path.read_text())
    assert "drift" not in older
    path.write_text(older)
    assert Store(tmp_path).find("x") == profile("x")


def test_a_drift_that_is_no_number_is_damage(tmp_path: Path) -> None:
    Store(tmp_path).save(profile("x", drift_ppm_per_hour=0.25))
    path = tmp_path / "x.json"
    path.write_text(path.read_text().replace("0.25", "NaN"))
    with pytest.raises(BenchError, match="damaged"):
        Store(tmp_path).find("x")


def test_a_damaged_file_is_said_and_set_aside_not_lost(tmp_path: Path) -> None:
    store = Store(tmp_path)
    (tmp_path / "x.json").write_text("{ nonsense")
    with pytest.raises(BenchError, match="damaged"):
        store.find("x")
    store.save(profile("x"))
    assert store.find("x") == profile("x")
    (kept,) = tmp_path.glob("x.damaged-*")
    assert kept.read_text() == "{ nonsense"


@pytest.mark.parametrize("damage", ["[]", "{}", '{"format": 1}', '{"format": 1, "profiles": [{}]}'])
def test_what_is_no_profile_is_damaged(tmp_path: Path, damage: str) -> None:
    (tmp_path / "x.json").write_text(damage)
    with pytest.raises(BenchError, match="damaged"):
        Store(tmp_path).find("x")


def test_a_newer_format_is_refused_and_never_overwritten(tmp_path: Path) -> None:
    newer = render((profile("x"),)).replace('"format": 1', '"format": 2')
    (tmp_path / "x.json").write_text(newer)
    store = Store(tmp_path)
    with pytest.raises(BenchError, match="newer version"):
        store.find("x")
    with pytest.raises(BenchError, match="newer version"):
        store.save(profile("x"))
    assert (tmp_path / "x.json").read_text() == newer


@pytest.mark.parametrize("name", ["", "../up", "a/b", ".hidden", "x" * 80, "a\nb"])
def test_a_name_is_never_a_path(tmp_path: Path, name: str) -> None:
    with pytest.raises(BenchError, match="cannot name a clock"):
        Store(tmp_path).save(profile(name))


def test_forgetting_what_is_not_there_says_what_is(tmp_path: Path) -> None:
    store = Store(tmp_path)
    store.save(profile("a"))
    with pytest.raises(BenchError, match="there are: a"):
        store.forget("b")
    store.forget("a")
    assert store.names() == ()
