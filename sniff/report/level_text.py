"""Level calibrations as text."""

from collections.abc import Sequence
from typing import Protocol

from calib.levels import LevelPoint
from sniff.report.text import console, table
from sniff.units import format_db, format_dbfs, format_dbm, format_frequency


class Levelled(Protocol):
    """What a level calibration came to."""

    @property
    def at_hz(self) -> float: ...
    @property
    def gain_db(self) -> float: ...
    @property
    def known_dbm(self) -> float: ...
    @property
    def level_dbfs(self) -> float: ...
    @property
    def offset_db(self) -> float: ...
    @property
    def u_db(self) -> float: ...
    @property
    def saved(self) -> str | None: ...
    @property
    def why(self) -> str | None: ...


def print_level(result: Levelled) -> None:
    """Print what the known level is indicated as, and where that was kept."""
    out = console()
    out.print(
        f"{result.known_dbm:g} dBm at {format_frequency(result.at_hz)} and a gain of "
        f"{result.gain_db:g} dB is indicated as {format_dbfs(result.level_dbfs)}."
    )
    out.print(f"So 0 dBFS is {format_dbm(result.offset_db, 2.0 * result.u_db)} (k = 2) there.")
    kept = f"Kept in {result.saved}." if result.saved else f"Not kept: {result.why}."
    out.print(kept, markup=False)


def print_levels(points: Sequence[LevelPoint]) -> None:
    """Print the levels known of one dongle."""
    if not points:
        return
    out = console()
    out.print()
    out.print(
        table(
            ["level at", "gain", "0 dBFS is", "made"],
            [
                (
                    format_frequency(point.at_hz),
                    format_db(point.gain_db),
                    format_dbm(point.offset_db, 2.0 * point.u_db),
                    f"{point.made:%Y-%m-%d}",
                )
                for point in points
            ],
        )
    )
