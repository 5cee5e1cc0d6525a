"""Profiles on disk: one file for each clock, with its history."""

from datetime import datetime, timezone
from math import isfinite
from pathlib import Path
from typing import Any

from calib.folder import DamagedError, Histories, StoreError, parse_entries, render_entries
from calib.profile import FORMAT, Profile

__all__ = ["DamagedError", "Store", "StoreError", "parse", "render"]


class Store:
    """A folder of profiles.

    Parameters
    ----------
    folder : Path
        Made when something is saved.
    """

    def __init__(self, folder: Path) -> None:
        self._files = Histories(folder, what="clock", render=render, parse=parse)

    def names(self) -> tuple[str, ...]:
        """Those there are, in order."""
        return self._files.names()

    def find(self, name: str) -> Profile | None:
        """The newest profile of this name, None when there is none.

        Raises
        ------
        StoreError
            When its file is damaged, or of a newer version of this program; the file is left.
        """
        history = self.history(name)
        return history[-1] if history else None

    def history(self, name: str) -> tuple[Profile, ...]:
        """All profiles of this name, the oldest first; raises as `find`."""
        return self._files.history(name)

    def save(self, profile: Profile) -> Path:
        """Add a profile to its clock's history; a damaged file is set aside first, not lost.

        Raises
        ------
        StoreError
            When it cannot be written, or a newer version of this program wrote the file.
        """
        return self._files.add(profile.name, profile)

    def forget(self, name: str) -> None:
        """Remove a clock with all its history.

        Raises
        ------
        StoreError
            When there is none of this name.
        """
        self._files.forget(name)


def render(history: tuple[Profile, ...]) -> str:
    """A history as text."""
    entries = [
        {
            "name": profile.name,
            "ppm": profile.ppm,
            "u_ppm": profile.u_ppm,
            "made": profile.made.astimezone(timezone.utc).isoformat(),
            "references": list(profile.references),
            "temperature_c": profile.temperature_c,
            "drift_ppm_per_hour": profile.drift_ppm_per_hour,
            "dongle": profile.dongle,
        }
        for profile in history
    ]
    return render_entries(entries, key="profiles", version=FORMAT)


def parse(text: str, *, name: str) -> tuple[Profile, ...]:
    """A history from its text.

    Raises
    ------
    StoreError
        When it is damaged, or of a newer format.
    """
    return parse_entries(text, _profile, key="profiles", version=FORMAT, name=name)


def _profile(entry: Any) -> Profile:
    made = datetime.fromisoformat(entry["made"])
    if made.tzinfo is None:
        raise ValueError("no time zone")
    temperature = entry["temperature_c"]
    # Files from before they were kept lack these.
    drift, dongle = entry.get("drift_ppm_per_hour"), entry.get("dongle")
    profile = Profile(
        name=str(entry["name"]),
        ppm=float(entry["ppm"]),
        u_ppm=float(entry["u_ppm"]),
        made=made,
        references=tuple(str(each) for each in entry["references"]),
        temperature_c=None if temperature is None else float(temperature),
        drift_ppm_per_hour=None if drift is None else float(drift),
        dongle=None if dongle is None else str(dongle),
    )
    profile.correction(made)  # refuses what is no number
    if not isfinite(profile.drift_ppm_per_hour or 0.0):
        raise ValueError("the drift is no number")
    return profile
