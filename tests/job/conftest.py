"""Jobs as the tests need them."""

import json
from collections.abc import Callable
from datetime import datetime, timezone
from pathlib import Path
from typing import Any

import pytest

from sniff.job.entries import Reading, Stage
from sniff.job.folder import Job, start_job
from sniff.job.sheet import Sheet

STARTED = datetime(2026, 11, 25, 13, 0, tzinfo=timezone.utc)
MakeReading = Callable[..., Reading]


@pytest.fixture
def job(tmp_path: Path) -> Job:
    return start_job(
        tmp_path / "deaf-12",
        Sheet(set_name="Tour-guide receiver 12", fault="deaf, comes and goes", started=STARTED),
    )


@pytest.fixture
def reading() -> MakeReading:
    def make(
        result: dict[str, Any] | None = None, *, command: str = "probe", **changed: Any
    ) -> Reading:
        told = {
            "schema": "sniff/1",
            "command": command,
            "source": {"kind": "bench", "name": "bench:tour-guide-deaf"},
            "clock": {"ppm": 28.8, "u_ppm": 0.3, "origin": "stated"},
            "result": {"verdict": "fault", "why": "LO is unsteady"} if result is None else result,
            "cautions": [],
        }
        return Reading(
            filed_utc=STARTED,
            command=command,
            stage=Stage.ARRIVAL,
            place=None,
            exit_code=1,
            command_line="sniff probe --from bench:tour-guide-deaf",
            folder="/bench",
            software="0.1.0",
            sheet="",
            told=json.dumps(told),
        ).renewed(**changed)

    return make
