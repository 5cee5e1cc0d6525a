"""Level calibrations on disk: one file for each dongle, with all its points."""

from datetime import datetime, timezone
from pathlib import Path
from typing import Any

from calib.folder import Histories, parse_entries, render_entries
from calib.levels import FORMAT, LevelPoint


def level_store(folder: Path) -> Histories[LevelPoint]:
    """The level points kept in a folder, by the name of their dongle."""
    return Histories(folder, what="level calibration", render=render, parse=parse)


def render(points: tuple[LevelPoint, ...]) -> str:
    """Points as text."""
    entries = [
        {
            "name": point.name,
            "at_hz": point.at_hz,
            "gain_db": point.gain_db,
            "offset_db": point.offset_db,
            "u_db": point.u_db,
            "made": point.made.astimezone(timezone.utc).isoformat(),
        }
        for point in points
    ]
    return render_entries(entries, key="levels", version=FORMAT)


def parse(text: str, *, name: str) -> tuple[LevelPoint, ...]:
    """Points from their text.

    Raises
    ------
    StoreError
        When it is damaged, or of a newer format.
    """
    return parse_entries(text, _point, key="levels", version=FORMAT, name=name)


def _point(entry: Any) -> LevelPoint:
    made = datetime.fromisoformat(entry["made"])
    if made.tzinfo is None:
        raise ValueError("no time zone")
    return LevelPoint(
        name=str(entry["name"]),
        at_hz=float(entry["at_hz"]),
        gain_db=float(entry["gain_db"]),
        offset_db=float(entry["offset_db"]),
        u_db=float(entry["u_db"]),
        made=made,
    )
