"""JSON: one object for every command, the frozen result types field by field."""

import dataclasses
import json
from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime
from enum import Enum
from math import isfinite, isinf, isnan
from typing import Any

import numpy as np

from calib.correction import Correction
from sniff.explain import Explained
from sniff.model import Caution, SourceInfo

SCHEMA = "sniff/1"


def envelope(
    command: str,
    result: object,
    *,
    source: SourceInfo | None = None,
    correction: Correction | None = None,
    good_correction: Correction | None = None,
    cautions: Iterable[Caution] = (),
    budgets: Iterable[Explained] | None = None,
) -> str:
    """The text of the JSON object; with `budgets`, of what each frequency's u is made as well; of
    a comparison, whose source and clock are the suspect's, with the good set's clock.

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
    if good_correction is not None:
        data["good_clock"] = plain(good_correction)
    if budgets is not None:
        data["budgets"] = [_budget(each) for each in budgets]
    return json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False)


def _budget(explained: Explained) -> dict[str, Any]:
    budget = explained.budget
    return {
        "name": explained.name,
        "frequency_hz": explained.frequency_hz,
        "u_hz": budget.u,
        "expanded_hz": budget.expanded,
        "terms": [
            {**plain(replace(term, degrees=0.0)), "degrees": None, "part_hz": term.contribution}
            if isinf(term.degrees)
            else {**plain(term), "part_hz": term.contribution}
            for term in budget.terms
        ],
    }


def plain(value: Any) -> Any:
    """A result as dicts, lists, numbers and texts.

    Raises
    ------
    ValueError
        When a number is not finite: what is not known is None.
    """
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
    if isinstance(value, np.ndarray):  # in a course NaN says where nothing was observed
        return [None if isnan(item) else plain(item) for item in value.tolist()]
    if value is None or isinstance(value, (str, bool, int)):
        return value
    number = float(value)
    if not isfinite(number):
        raise ValueError(f"{number} must not reach a face")
    return number
