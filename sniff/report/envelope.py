"""JSON: one object for every command, the frozen result types field by field."""

import dataclasses
import json
from collections.abc import Iterable
from datetime import datetime
from enum import Enum
from math import isfinite
from typing import Any

from calib.correction import Correction
from sniff.model import Caution, SourceInfo

SCHEMA = "sniff/1"


def envelope(
    command: str,
    result: object,
    *,
    source: SourceInfo | None = None,
    correction: Correction | None = None,
    cautions: Iterable[Caution] = (),
) -> str:
    """The text of the JSON object.

    Raises
    ------
    ValueError
        When a number is NaN or infinite: what is not known must be None, with its reason.
    """
    data = {
        "schema": SCHEMA,
        "command": command,
        "source": None if source is None else plain(source),
        "clock": None if correction is None else plain(correction),
        "result": plain(result),
        "cautions": plain(tuple(cautions)),
    }
    return json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False)


def plain(value: Any) -> Any:
    """A result as dicts, lists, numbers and texts."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, datetime):
        return value.isoformat().replace("+00:00", "Z")
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, (tuple, list)):
        return [plain(item) for item in value]
    if value is None or isinstance(value, (str, bool, int)):
        return value
    number = float(value)
    if not isfinite(number):
        raise ValueError(f"{number} must not reach a face")
    return number
