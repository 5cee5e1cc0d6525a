"""Calibrations and clocks as text."""

from collections.abc import Sequence
from datetime import datetime
from typing import Protocol

from calib.fit import Residual
from calib.profile import Profile
from sniff.report.text import console, table
from sniff.units import format_error, format_frequency, format_parts, format_ppm


class Calibrated(Protocol):
    """What a calibration came to."""

    @property
    def ppm(self) -> float: ...
    @property
    def u_ppm(self) -> float: ...
    @property
    def references(self) -> tuple[Residual, ...]: ...
    @property
    def birge_ratio(self) -> float: ...
    @property
    def saved(self) -> str | None: ...
    @property
    def why(self) -> str | None: ...


def print_calibration(result: Calibrated) -> None:
    """Print the clock error, what each reference says, and where it was kept."""
    out = console()
    out.print(f"Clock {_clock(result.ppm, result.u_ppm)}. {_way(result.ppm)}")
    out.print()
    out.print(
        table(
            ["reference", "nominal", "reads", "residual", "U (k = 2)", "<"],
            [
                (
                    line.name,
                    format_frequency(line.nominal_hz),
                    format_error(line.indicated_hz - line.nominal_hz, 0.01 * line.u_ppm * 200.0),
                    format_ppm(line.residual_ppm, 2.0 * line.u_ppm),
                    f"± {format_parts(2.0 * line.u_ppm)}",
                    "" if line.used else "left out",
                )
                for line in result.references
            ],
        )
    )
    out.print()
    if len(result.references) > 1:
        words = "they agree" if result.birge_ratio <= 1 else "they disagree, which widens U"
        out.print(f"Birge ratio {result.birge_ratio:.2f}: {words}.")
    kept = f"Kept in {result.saved}." if result.saved else f"Not kept: {result.why}."
    out.print(kept, markup=False)


def print_clocks(profiles: Sequence[Profile], *, now: datetime) -> None:
    """Print the newest profile of each clock."""
    out = console()
    if not profiles:
        out.print("No clock was calibrated yet.")
        return
    out.print(
        table(
            ["clock", "then", "now", "made", "<by"],
            [
                (
                    profile.name,
                    _clock(profile.ppm, profile.u_ppm),
                    f"± {format_parts(2.0 * profile.correction(now).u_ppm)}",
                    f"{profile.made:%Y-%m-%d}",
                    ", ".join(profile.references),
                )
                for profile in profiles
            ],
        )
    )


def print_clock(history: Sequence[Profile], *, now: datetime) -> None:
    """Print one clock's whole history and what it comes to now."""
    print_clocks(history, now=now)
    out = console()
    correction = history[-1].correction(now)
    out.print()
    out.print(f"Now {_clock(correction.ppm, correction.u_ppm)}: {correction.origin}.")


def _clock(ppm: float, u_ppm: float) -> str:
    return f"{format_ppm(ppm, 2.0 * u_ppm)} ± {format_parts(2.0 * u_ppm)}"


def _way(ppm: float) -> str:
    return "It runs fast: all reads too low." if ppm > 0 else "It runs slow: all reads too high."
