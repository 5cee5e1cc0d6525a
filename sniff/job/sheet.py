"""The sheet of a job, ``job.toml``: which set, what is wrong with it, and its plan.

sniff_job = 1               # format of this file
set = "Tour-guide receiver 12"
fault = "deaf, comes and goes"
started = 2025-11-25T13:00:00Z
finding = "..."             # the technician's own words, for the report
not_checked = ["..."]       # what the report should say was not looked at

[plan]                      # as in a plan file
carrier = "72.9M"
if = "10.7M"
side = "high"

[sibling]
source = "recordings/sibling.sigmf-meta"
carrier = "74.7M"
"""

import json
from dataclasses import dataclass
from datetime import datetime, timezone
from pathlib import Path
from typing import Annotated

from pydantic import Field

from sniff.checked_toml import Hertz, Table, load
from sniff.errors import InputError
from sniff.job.error import JobError
from sniff.job.words import clean
from sniff.superhet.plan import Plan
from sniff.superhet.planfile import PlanTable, checked_plan
from sniff.units import parse_frequency

FORMAT = 1
MARK = "sniff_job"
"""The key by which a job.toml is known as ours."""

_LARGEST_BYTES = 1_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Sibling:
    """A working set of the same make.

    Attributes
    ----------
    source : str
        As after ``--from``; a path may be relative to the job's folder.
    carrier_hz : float
    """

    source: str
    carrier_hz: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """What a job is about.

    Attributes
    ----------
    set_name, fault : str
    started : datetime
        Aware.
    plan : Plan or None
    sibling : Sibling or None
    finding : str
        The technician's own words; empty for none.
    not_checked : tuple of str
    """

    set_name: str
    fault: str
    started: datetime
    plan: Plan | None = None
    sibling: Sibling | None = None
    finding: str = ""
    not_checked: tuple[str, ...] = ()


class _SiblingTable(Table):
    source: Annotated[str, Field(min_length=1)]
    carrier: Annotated[Hertz, Field(gt=0)]


class _SheetTable(Table):
    sniff_job: Annotated[int, Field(strict=True)]
    set_name: Annotated[str, Field(alias="set", min_length=1)]
    fault: str = ""
    started: datetime
    finding: str = ""
    not_checked: tuple[str, ...] = ()
    plan: PlanTable | None = None
    sibling: _SiblingTable | None = None


def parse_sheet(text: str, *, name: str) -> Sheet:
    """Read a sheet from TOML.

    Raises
    ------
    InputError
        On bad TOML, an unknown key, a wrong unit or a missing word, naming the line; on
        frequencies that do not go together; on a newer format.
    """
    table = load(text, _SheetTable, name=name)
    if table.sniff_job != FORMAT:
        raise InputError(
            f"{name}: is of format {table.sniff_job}, this version of sniff knows {FORMAT}; "
            "update it"
        )
    plan = None
    if table.plan is not None:
        plan = checked_plan(table.plan, text=text, name=name, under=("plan",))
    sibling = table.sibling
    started = table.started
    return Sheet(
        set_name=clean(table.set_name),
        fault=clean(table.fault),
        started=started if started.tzinfo else started.replace(tzinfo=timezone.utc),
        plan=plan,
        sibling=None if sibling is None else _sibling_of(sibling),
        finding=clean(table.finding),
        not_checked=tuple(clean(text) for text in table.not_checked),
    )


def _sibling_of(table: _SiblingTable) -> Sibling:
    return Sibling(source=clean(table.source), carrier_hz=table.carrier)


def read_sheet_text(path: Path) -> str:
    """The text of a sheet.

    Raises
    ------
    JobError
        When it cannot be read as text.
    """
    try:
        with path.open("rb") as file:
            data = file.read(_LARGEST_BYTES + 1)
        if len(data) > _LARGEST_BYTES:
            raise JobError(f"{path}: is larger than a megabyte, which no job's sheet is")
        return data.decode("utf-8-sig")
    except OSError as error:
        raise JobError(f"{path}: cannot be read: {error.strerror or error}") from None
    except UnicodeDecodeError:
        raise JobError(f"{path}: is not text in UTF-8") from None


def render_sheet(sheet: Sheet) -> str:
    """A sheet as TOML for a person to edit; `parse_sheet` reads it back the same."""
    lines = [
        "# The sheet of a repair job: edit what you like, 'sniff job show' reads it back.",
        f"{MARK} = {FORMAT}",
        "",
        f"set = {quoted(sheet.set_name)}",
        f"fault = {quoted(sheet.fault)}",
        f"started = {sheet.started.astimezone(timezone.utc).isoformat().replace('+00:00', 'Z')}",
        "# What you found, in your own words, for the report:",
        f"finding = {quoted(sheet.finding)}",
        '# What the report should say was not looked at, such as "sensitivity":',
        f"not_checked = [{', '.join(quoted(text) for text in sheet.not_checked)}]",
    ]
    if sheet.plan is None:
        lines += ["", "# [plan]", '# carrier = "72.9M"', '# if = "10.7M"', '# side = "high"']
        lines += ["# multiplier = 3", '# tolerance = "50ppm"']
    else:
        lines += ["", "[plan]", *_plan_lines(sheet.plan)]
    if sheet.sibling is None:
        lines += ["", "# [sibling]          # a working set of the same make"]
        lines += ['# source = "recordings/sibling.sigmf-meta"', '# carrier = "74.7M"']
    else:
        lines += ["", "[sibling]", f"source = {quoted(sheet.sibling.source)}"]
        lines += [f"carrier = {_hertz(sheet.sibling.carrier_hz)}"]
    return "\n".join(lines) + "\n"


def quoted(text: str) -> str:
    """A TOML basic string: JSON's, which leaves only DEL unescaped that TOML wants escaped."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _plan_lines(plan: Plan) -> list[str]:
    lines = [f"carrier = {_hertz(plan.carrier_hz)}"]
    for key, hz, side in (
        ("if", plan.if_hz, plan.side),
        ("second_if", plan.second_if_hz, plan.second_side),
    ):
        if hz is not None and side is not None:
            lines.append(f"{key} = {_hertz(hz)}")
            lines.append(f"{key.replace('if', 'side')} = {quoted(side.value)}")
    if plan.multiplier is not None:
        lines.append(f"multiplier = {plan.multiplier}")
    if plan.highest_multiple is not None:
        lines.append(f"highest_multiple = {plan.highest_multiple}")
    if plan.tolerance is not None:
        stated = plan.tolerance
        number, unit = (stated.ppm, "ppm") if stated.ppm is not None else (stated.hz, "")
        lines.append(f'tolerance = "{number!r}{unit}"')
    for place in plan.places:
        lines += ["", "[[plan.places]]", f"name = {quoted(place.name)}"]
        if place.carrier_hz is not None:
            lines.append(f"carrier = {_hertz(place.carrier_hz)}")
        for line in place.lines:
            lines += ["[[plan.places.lines]]", f"name = {quoted(line.name)}"]
            if line.level_dbfs is not None:
                lines.append(f'level = "{line.level_dbfs!r}dBFS"')
            if line.within_db is not None:
                lines.append(f"within = {line.within_db!r}")
    return lines


def _hertz(hz: float) -> str:
    """A frequency as people write it where that is the same number, else to the last bit."""
    text = f"{hz / 1e6:.12g}M"
    return quoted(text) if parse_frequency(text) == hz else repr(hz)
