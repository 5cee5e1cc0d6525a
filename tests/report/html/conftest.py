"""A job with readings of a deaf receiver before and after its repair, as the commands tell them."""

import json
from collections.abc import Callable
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest

from sniff.job.entries import Reading, Stage
from sniff.job.folder import Job, start_job
from sniff.job.sheet import Sheet
from sniff.report.html import View, render_report, view_of
from sniff.superhet.plan import Plan, Side
from sniff.units import Tolerance

STARTED = datetime(2026, 11, 25, 13, 0, tzinfo=timezone.utc)
PLAN = Plan(
    carrier_hz=72.9e6,
    if_hz=10.7e6,
    side=Side.HIGH,
    multiplier=3,
    tolerance=Tolerance(ppm=50.0),
)
Filed = Callable[..., Reading]


def line(state: str, **changed: Any) -> dict[str, Any]:
    """The LO of the plan: 4.18 kHz allowed."""
    return {
        "name": "LO",
        "role": "lo",
        "formula": "72.9 MHz + 10.7 MHz",
        "wanted": True,
        "expected_hz": 83.6e6,
        "tolerance_hz": 4180.0,
        "window_hz": 41_800.0,
        "state": state,
        "frequency_hz": 83_600_469.2,
        "u_hz": 25.1,
        "error_hz": 469.2,
        "error_ppm": 5.612,
        "level_dbfs": -39.0,
        "why": "why it is so",
        **changed,
    }


def board(state: str, verdict: str, **changed: Any) -> dict[str, Any]:
    return {"verdict": verdict, "why": "the board says", "lines": [line(state, **changed)]}


def watch(events: int, observed_s: float, **changed: Any) -> dict[str, Any]:
    dropouts = [{"kind": "break", "duration_s": 0.1 * (n + 1)} for n in range(events)]
    return {
        "verdict": "intermittent" if events else "steady",
        "why": f"gone {events} times",
        "frequency_hz": 83_600_469.0,
        "dropouts": dropouts,
        "rate_per_hour": {"events": events, "observed_s": observed_s},
        **changed,
    }


@pytest.fixture
def filed() -> Filed:
    count = 0

    def make(command: str, result: dict[str, Any], stage: Stage | None, **changed: Any) -> Reading:
        nonlocal count
        count += 1
        told = {
            "schema": "sniff/1",
            "command": command,
            "source": {"kind": "bench", "name": "bench:deaf"},
            "clock": {"ppm": 28.8, "u_ppm": 0.3, "origin": "calibrated that morning"},
            "result": result,
            "cautions": [{"code": "placement", "text": "levels hold for the same place"}],
        }
        return Reading(
            number=count,
            filed_utc=STARTED + timedelta(minutes=count),
            command=command,
            stage=stage,
            place=None,
            exit_code=0,
            command_line=f"sniff {command} --from bench:deaf",
            folder="/bench",
            software="0.1.0",
            sheet="",
            told=json.dumps(told),
        ).renewed(**changed)

    return make


@pytest.fixture
def job(tmp_path: Path) -> Job:
    sheet = Sheet(
        set_name="Tour-guide receiver 12", fault="deaf at times", started=STARTED, plan=PLAN
    )
    return start_job(tmp_path / "job", sheet)


@pytest.fixture
def shown(job: Job) -> Callable[..., tuple[View, str]]:
    def show(readings: list[Reading], notes: Any = (), files: Any = ()) -> tuple[View, str]:
        view = view_of(job, readings, notes, files, now=STARTED + timedelta(days=1))
        return view, render_report(view, job)

    return show
