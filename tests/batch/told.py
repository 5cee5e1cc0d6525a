"""What commands told, planted: JSON objects with the fields of DESIGN's contract and stated values.

Only what a test states differs from file to file, so that what it finds is what was planted.
"""

from collections.abc import Mapping, Sequence
from typing import Any

from sniff.batch.nouns import Answer

NOMINAL_HZ = 72.9e6


def answer(
    number: int,
    told: Mapping[str, Any] | None,
    *,
    source: str | None = None,
    exit_code: int = 0,
    error: str | None = None,
    seconds: float = 0.0,
    **options: str,
) -> Answer:
    """The answer of one file."""
    return Answer(
        number=number,
        source=source or f"fleet/set-{number:03d}.sigmf-meta",
        key=f"{number:064x}",
        options=options,
        exit_code=exit_code,
        told=told,
        error=error,
        seconds=seconds,
    )


def unread(number: int, why: str = "the file is empty; record it again") -> Answer:
    """The answer of a file that is in trouble."""
    return answer(number, None, exit_code=4, error=why)


def envelope(
    command: str,
    result: Mapping[str, Any],
    *,
    ppm: float = 0.0,
    u_ppm: float = 1.0,
    serial: str | None = None,
    gain_db: float | None = 20.0,
    cautions: tuple[str, ...] = (),
) -> dict[str, Any]:
    """A whole object about a result."""
    return {
        "schema": "sniff/1",
        "command": command,
        "source": {
            "kind": "recording",
            "rate_hz": 256000.0,
            "centers_hz": [72.8e6, 83.5e6],
            "gain_db": gain_db,
            "serial": serial,
            "tunable": False,
            "cautions": [],
        },
        "clock": {"ppm": ppm, "u_ppm": u_ppm, "origin": "as stated", "parts": []},
        "result": dict(result),
        "cautions": [{"code": code, "text": f"because of {code}"} for code in cautions],
    }


def carrier(
    error_ppm: float | None,
    *,
    verdict: str | None = "pass",
    u_ppm: float = 0.05,
    u_clock_ppm: float = 1.0,
    tolerance_ppm: float | None = 20.0,
    serial: str | None = None,
    **more: Any,
) -> dict[str, Any]:
    """A carrier's check; `u_ppm` (k = 1) without the clock's part."""
    whole_ppm = (u_ppm**2 + u_clock_ppm**2) ** 0.5
    known = error_ppm is not None
    off_hz = (error_ppm or 0.0) * 1e-6 * NOMINAL_HZ
    return envelope(
        "carrier",
        {
            "verdict": verdict,
            "why": f"{error_ppm} ppm off" if known else "no carrier there",
            "nominal_hz": NOMINAL_HZ,
            "frequency_hz": NOMINAL_HZ + off_hz if known else None,
            "u_hz": whole_ppm * 1e-6 * NOMINAL_HZ if known else None,
            "expanded_hz": 2.0 * whole_ppm * 1e-6 * NOMINAL_HZ if known else None,
            "error_hz": off_hz if known else None,
            "error_ppm": error_ppm,
            "tolerance_hz": None if tolerance_ppm is None else tolerance_ppm * 1e-6 * NOMINAL_HZ,
            "u_indicated_hz": u_ppm * 1e-6 * NOMINAL_HZ if known else None,
            "level_dbfs": -20.0 if known else None,
            "modulation": {"kind": "none", "deviation_peak_hz": None},
            **more,
        },
        u_ppm=u_clock_ppm,
        serial=serial,
    )


def board_line(
    name: str,
    level_dbfs: float | None,
    *,
    wanted: bool = True,
    state: str = "present",
    error_ppm: float | None = 1.0,
    would_see_dbfs: float | None = -90.0,
) -> dict[str, Any]:
    """A line of a board."""
    there = level_dbfs is not None
    return {
        "name": name,
        "role": name.lower(),
        "wanted": wanted,
        "expected_hz": 83.6e6,
        "tolerance_hz": 4180.0,
        "state": state,
        "frequency_hz": 83.6e6 * (1 + (error_ppm or 0.0) * 1e-6) if there else None,
        "u_hz": 84.0 if there else None,
        "error_ppm": error_ppm if there else None,
        "level_dbfs": level_dbfs,
        "would_see_dbfs": would_see_dbfs,
        "why": "",
    }


def board(
    *lines: Mapping[str, Any], verdict: str = "as-expected", gain_db: float | None = 20.0
) -> dict[str, Any]:
    """A line board."""
    result = {"verdict": verdict, "why": f"the board is {verdict}", "lines": list(lines)}
    return envelope("probe", result, gain_db=gain_db)


def watch(
    dropouts: int,
    hours: float,
    *,
    verdict: str | None = None,
    starts_s: Sequence[float] | None = None,
) -> dict[str, Any]:
    """A watch with so many drop-outs in so long, at equal distances unless stated; bounds left as
    unknown unless stated."""
    said = verdict or ("intermittent" if dropouts else "steady")
    if starts_s is None:
        starts_s = [3600.0 * hours * n / (dropouts + 1) for n in range(1, dropouts + 1)]
    listed = [
        {"start_s": start, "duration_s": 0.05, "kind": "break", "fall": {"level_dbfs": [-1.0]}}
        for start in starts_s[:2000]
    ]
    rate = {
        "value": dropouts / hours,
        "low": max(0.0, dropouts - 2.0 * dropouts**0.5) / hours,
        "high": (dropouts + 3.7 + 2.0 * dropouts**0.5) / hours,
        "at_most": (dropouts + 3.0 + 1.7 * dropouts**0.5) / hours,
        "confidence": 0.95,
        "events": dropouts,
        "observed_s": hours * 3600.0,
    }
    result = {
        "verdict": said,
        "why": f"gone {dropouts} times",
        "observed_s": hours * 3600.0,
        "level_dbfs": -40.0,
        "dropouts": listed,
        "dropout_count": dropouts,
        "rate_per_hour": rate,
    }
    return envelope("watch", result)


def look(noise_dbfs_per_hz: float, *peaks: tuple[float, float, str]) -> dict[str, Any]:
    """A look; each peak by its frequency, level and mark, strongest first."""
    listed = [
        {
            "frequency_hz": hz,
            "u_hz": 10.0,
            "level_dbfs": level,
            "snr_db": level + 90.0,
            "marks": [mark] if mark else [],
            "proof": None,
        }
        for hz, level, mark in peaks
    ]
    result = {"center_hz": 72.8e6, "noise_dbfs_per_hz": noise_dbfs_per_hz, "peaks": listed}
    return envelope("look", result)
