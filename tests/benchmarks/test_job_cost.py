"""What a job of 10,000 readings costs: to file one more, and to report on all."""

import json
import time
from datetime import timedelta
from pathlib import Path

import pytest

from sniff.job.entries import FileKind, KeptFile, Reading, Stage
from sniff.job.folder import Job, start_job
from sniff.job.sheet import Sheet
from sniff.report.html import render_report, view_of
from tests.report.html.conftest import PLAN, STARTED, line

pytestmark = [pytest.mark.benchmark, pytest.mark.timeout(300)]

READINGS = 10_000
REPORT_S = 10.0
"""Asked for by the job's own requirements."""


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Job:
    """Boards of six lines, each with a recording of its own, as a week of probing makes them."""
    job = start_job(
        tmp_path_factory.mktemp("job") / "long",
        Sheet(set_name="Receiver", fault="deaf", started=STARTED, plan=PLAN),
    )
    lines = [line("present", name=name) for name in ("LO", "a", "b", "c", "d", "e")]
    told = json.dumps(
        {
            "command": "probe",
            "source": {"kind": "dongle", "name": "dongle"},
            "clock": {"ppm": 28.8, "u_ppm": 0.3, "origin": "calibrated"},
            "result": {"verdict": "as-expected", "why": "all there", "lines": lines},
            "cautions": [{"code": "c", "text": "levels hold for the same place of the loop"}],
        }
    )
    began = time.perf_counter()
    with job.notebook() as notebook:
        for number in range(READINGS):
            file = KeptFile(
                kind=FileKind.RECORDING, path=f"recordings/{number}", sha256="ab" * 32, bytes=1
            )
            notebook.add_reading(
                Reading(
                    filed_utc=STARTED + timedelta(minutes=number),
                    command="probe",
                    stage=Stage.ARRIVAL if number < READINGS // 2 else Stage.AFTER,
                    place=None,
                    exit_code=0,
                    command_line="sniff probe --from dongle --stage after",
                    folder="/",
                    software="0.1.0",
                    sheet=job.sheet_text,
                    told=told,
                    files=(file,),
                )
            )
    seconds = time.perf_counter() - began
    print(f"\nfiling: {1e3 * seconds / READINGS:.2f} ms a reading, its file and its sync")
    return job


def test_a_report_on_ten_thousand_readings_takes_less_than_ten_seconds(job: Job) -> None:
    began = time.perf_counter()
    with job.notebook() as notebook:
        readings, notes, files = notebook.readings(), notebook.notes(), notebook.files()
    view = view_of(job, readings, notes, files, now=STARTED)
    text = render_report(view, job)
    seconds = time.perf_counter() - began
    print(f"report on {READINGS} readings: {seconds:.2f} s, {len(text) / 1e6:.2f} MB")
    assert view.readings == READINGS
    assert seconds < REPORT_S
    assert len(text.encode()) < 3_000_000
    assert Path(job.folder / "notebook.sqlite").stat().st_size > 1e7
