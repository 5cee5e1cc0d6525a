"""Line boards that were filed: the last one of each place."""

from dataclasses import dataclass
from math import sqrt
from typing import Any

from pydantic import TypeAdapter, ValidationError

from calib.correction import Correction
from sniff.board import BoardResult
from sniff.frontend import OVERLOADED
from sniff.job.error import JobError
from sniff.job.folder import Job


@dataclass(frozen=True, slots=True, kw_only=True)
class FiledBoard:
    """A line board as it was filed.

    Attributes
    ----------
    reading : int
        Its number in the notebook.
    result : BoardResult
    correction : Correction
    serial : str or None
        Of the dongle that measured it.
    gain_db : float or None
        Of its tuner.
    overloaded : bool
        Whether it was measured with an overloaded front end.
    """

    reading: int
    result: BoardResult
    correction: Correction
    serial: str | None
    gain_db: float | None
    overloaded: bool


def filed_boards(job: Job) -> dict[str | None, FiledBoard]:
    """The last board of each place; None is the key of those without a named one.

    Raises
    ------
    JobError
        When the notebook cannot be used, or what it holds is no board.
    """
    with job.notebook() as notebook:
        readings = [each for each in notebook.readings() if each.command == "probe"]
    found: dict[str | None, FiledBoard] = {}
    for reading in readings:
        found[reading.place] = _board(reading.number, reading.data, job)
    return found


def _board(number: int, data: dict[str, Any], job: Job) -> FiledBoard:
    try:
        correction = TypeAdapter(Correction).validate_python(data["clock"])
        result = TypeAdapter(BoardResult).validate_python(_completed(data["result"], correction))
        source = data.get("source") or {}
        serial, gain_db = source.get("serial"), source.get("gain_db")
        codes = [caution["code"] for caution in data.get("cautions") or ()]
    except (ValidationError, KeyError, TypeError, ValueError, AttributeError):
        raise JobError(
            f"{job.folder}: reading {number} holds no line board that this version can read; "
            "probe again"
        ) from None
    return FiledBoard(
        reading=number,
        result=result,
        correction=correction,
        serial=None if serial is None else str(serial),
        gain_db=gain_db if isinstance(gain_db, float) else None,
        overloaded=OVERLOADED in codes,
    )


def _completed(result: dict[str, Any], correction: Correction) -> dict[str, Any]:
    """A board of an earlier version lacks the uncertainty of the indication alone: what of u is
    not the clock's."""
    lines = []
    for line in result["lines"]:
        u_hz, frequency_hz = line.get("u_hz"), line.get("frequency_hz")
        if line.get("u_indicated_hz") is None and u_hz is not None and frequency_hz is not None:
            own = u_hz**2 - correction.u_at(correction.indicate(frequency_hz)) ** 2
            line = {**line, "u_indicated_hz": sqrt(max(own, 0.0))}
        lines.append(line)
    return {**result, "lines": lines}
