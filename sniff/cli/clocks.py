"""Which clock correction holds for a source: stated, by name, by its dongle's profile, or none."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timezone
from typing import Any

from calib.correction import Converter, Correction
from calib.profile import OLD_DAYS, Profile
from calib.store import Store
from sniff.cli.kept_folder import kept_folder
from sniff.cli.levels import levels_kept
from sniff.cli.options import correction_from
from sniff.errors import UsageError
from sniff.model import Caution, SourceInfo

FACTORY_SERIALS = frozenset({"00000001", "0"})
"""They tell no dongle from another."""


def clock_store() -> Store:
    """The user's profiles."""
    return Store(kept_folder() / "clocks")


def clock_for(info: SourceInfo, given: Mapping[str, Any]) -> tuple[Correction, tuple[Caution, ...]]:
    """The correction for a source that is open, and what to know of it.

    Raises
    ------
    UsageError
        When `--clock` names none that there is, or stands beside `--ppm`.
    StoreError
        When a profile is damaged, or of a newer version.
    """
    correction, cautions = _clock(info, given)
    return replace(correction, converter=_converter(info)), cautions


def _converter(info: SourceInfo) -> Converter | None:
    """What the source takes out of its frequencies, by the user's word or a recording's own."""
    found = Converter(shift_hz=info.converter_hz, inverted=info.inverted, u_hz=info.u_converter_hz)
    return None if found == Converter(shift_hz=0.0) else found


def _clock(info: SourceInfo, given: Mapping[str, Any]) -> tuple[Correction, tuple[Caution, ...]]:
    stated = given["ppm"] is not None or given["u_ppm"] is not None
    named = given.get("clock")
    if named is not None and stated and not given.get("clock_origin"):
        raise UsageError("--clock and --ppm do not go together")
    if named is None and stated:
        return correction_from(given), ()
    store = clock_store()
    name = named if named is not None else info.serial
    profile = store.find(name) if name is not None else None
    if profile is None:
        refuse_unknown_clock(named)
        return correction_from(given), ()
    correction, cautions = _applied(profile, given)
    cautions += _of_another(profile, info)
    if named is None and profile.name in FACTORY_SERIALS:
        text = (
            f"the clock was found by the serial number {profile.name}, which most dongles bear "
            "from the factory: make sure that it is the same one"
        )
        cautions = (*cautions, Caution(code="common-serial", text=text))
    return correction, cautions


def refuse_unknown_clock(named: str | None) -> None:
    """Refuse a name under which neither a clock nor a level is kept.

    Raises
    ------
    UsageError
    """
    names = clock_store().names()
    if named is not None and named not in (*names, *levels_kept().names()):
        there = ", ".join(names) or "none yet"
        raise UsageError(f"no clock is called {named!r}; there are: {there}")


def _of_another(profile: Profile, info: SourceInfo) -> tuple[Caution, ...]:
    """A clock made with another dongle may be meant, but must be said."""
    if profile.dongle in (None, info.serial) or info.serial is None:
        return ()
    text = (
        f"the clock {profile.name} was calibrated on dongle {profile.dongle}, and this is "
        f"{info.serial}: another crystal, which may be off by as much as one never calibrated"
    )
    return (Caution(code="other-dongle", text=text),)


def _applied(profile: Profile, given: Mapping[str, Any]) -> tuple[Correction, tuple[Caution, ...]]:
    # Of a batch all recordings have the same: that at which it was begun.
    now = given.get("clock_utc") or datetime.now(timezone.utc)
    correction = profile.correction(now, given.get("temperature"))
    age_days = profile.age_days(now)
    if age_days <= OLD_DAYS:
        return correction, ()
    text = f"the clock of {profile.name} was calibrated {age_days:.0f} days ago: calibrate anew"
    return correction, (Caution(code="old-clock", text=text),)
