"""The work of ``sniff job start``."""

import sys
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import datetime, timezone
from pathlib import Path
from typing import Any, TypeVar

import click

from sniff.cli.filing import known_jobs
from sniff.cli.plan_options import plan_from
from sniff.errors import UsageError
from sniff.job.folder import SHEET, start_job
from sniff.job.sheet import Sheet, Sibling
from sniff.job.words import clean
from sniff.superhet.plan import Plan, Side
from sniff.units import parse_frequency, parse_tolerance

T = TypeVar("T")


def start_from(folder: Path, given: Mapping[str, Any]) -> None:
    """Start a job as the options say, asking on a terminal for what they leave open."""
    asks = sys.stdin.isatty()
    if given["set_name"] is None and not asks:
        raise UsageError("--set is missing: which set is it?")
    if (given["sibling"] is None) != (given["sibling_carrier"] is None):
        raise UsageError("--sibling and --sibling-carrier go together")
    stated = given["plan_file"] is not None or given["carrier"] is not None
    # Words of a plan without its carrier are refused here, and not dropped.
    plan = plan_from(given) if stated or _any_plan_word(given) else None
    sheet = Sheet(
        set_name=_text(given["set_name"], "Which set", asks=asks),
        fault=_text(given["fault"], "Fault as it was told", asks=asks),
        started=datetime.now(timezone.utc).replace(microsecond=0),
        plan=_asked_plan() if plan is None and asks else plan,
    )
    if not sheet.set_name:
        raise UsageError("--set names no set: say which one it is")
    if given["sibling"] is not None:
        sibling = Sibling(
            source=_sibling_source(given["sibling"]), carrier_hz=given["sibling_carrier"]
        )
        sheet = replace(sheet, sibling=sibling)
    job = start_job(folder, sheet)
    known_jobs().add(job.folder)
    click.echo(f"Started {job.folder}.")
    click.echo(f"Its sheet is {job.folder / SHEET}: edit it as you like.")
    if sheet.plan is None:
        click.echo("It has no plan yet; with one, 'sniff probe' needs no more than --from.")


def _any_plan_word(given: Mapping[str, Any]) -> bool:
    words = ("if_hz", "side", "multiplier", "second_if", "second_side", "tolerance")
    return any(given[word] is not None for word in words)


def _sibling_source(text: str) -> str:
    """As it is found from anywhere: the path of a recording is made absolute."""
    path = Path(text)
    return str(path.resolve()) if ":" not in text and path.exists() else clean(text)


def _text(given: str | None, question: str, *, asks: bool) -> str:
    if given is None and asks:
        given = str(click.prompt(question, default="", show_default=False))
    return clean(given or "")


def _asked_plan() -> Plan | None:
    """A plan by questions; an empty answer leaves out what it asks."""
    carrier_hz = _ask("Carrier, such as 72.9M (empty: no plan yet)", parse_frequency)
    if carrier_hz is None:
        return None
    if_hz = _ask("IF, such as 10.7M (empty: a transmitter)", parse_frequency)
    side = None if if_hz is None else _ask("Side of the LO, low or high", Side)
    multiplier = _ask("LO over crystal, such as 3 (empty: unknown)", int)
    tolerance = _ask("Tolerance, such as 50ppm or 5kHz (empty: 50 ppm)", parse_tolerance)
    return Plan(
        carrier_hz=carrier_hz, if_hz=if_hz, side=side, multiplier=multiplier, tolerance=tolerance
    )


def _ask(question: str, read: Callable[[str], T]) -> T | None:
    while True:
        answer = str(click.prompt(question, default="", show_default=False)).strip()
        if not answer:
            return None
        try:
            return read(answer)
        except (UsageError, ValueError) as error:
            click.echo(f"{error}", err=True)
