"""A plan as text: the lines of a set, its crystal, and what a set may be."""

from collections.abc import Sequence

from rich.table import Table
from rich.text import Text

from sniff.report.places_text import places_table
from sniff.report.text import console, table
from sniff.superhet.candidate import FITS_FROM, Candidate, ExplainedLine, Origin
from sniff.superhet.crystal import CrystalChoice
from sniff.superhet.expected import Expected
from sniff.superhet.plan import Plan, Role
from sniff.superhet.planning import PlanResult
from sniff.units import (
    format_chance,
    format_error,
    format_frequency,
    format_parts,
    format_span,
)

_MOST_SHOWN = 12

_WORDS = {
    Role.CARRIER: "carrier",
    Role.LO: "LO",
    Role.CRYSTAL: "crystal",
    Role.CRYSTAL_HARMONIC: "crystal × {}",
    Role.SECOND_LO: "second LO",
    Role.SECOND_LO_HARMONIC: "second LO × {}",
    Role.IMAGE: "image, from elsewhere",
}


def print_plan(result: PlanResult) -> None:
    """Print whatever was asked: candidates, then lines, then crystals."""
    out = console()
    parts: list[list[str | Table]] = []
    if result.candidates:
        parts.append(_candidate_parts(result.candidates))
    if result.plan is not None:
        parts.append([_headline(result.plan, result.tolerance_of), "", _lines(result.lines)])
        if result.plan.places:
            parts.append(["Places on the board", places_table(result.plan)])
    if result.crystals:
        table_of = _crystals(result.crystals, carriers=result.plan is None)
        parts.append([_crystals_title(result), table_of])
    if not parts:
        parts.append(["Nothing explains these lines."])
    for number, part in enumerate(parts):
        if number:
            out.print()
        for line in part:
            out.print(line)


def _candidate_parts(candidates: Sequence[Candidate]) -> list[str | Table]:
    shown = candidates[:_MOST_SHOWN]
    carriers = {format_frequency(each.carrier_hz) for each in shown}
    on = f" on {carriers.pop()}" if len(carriers) == 1 else ""
    more = len(candidates) - len(shown)
    return [
        f"What the set{on} may be, the likeliest first",
        _candidates(shown),
        *([f"and {more} less likely ones; --json lists all"] if more else []),
        "± is U (k = 2). Score: the chance that a true hypothesis shows a misfit this large; "
        f"below {FITS_FROM:g} it does not fit.",
    ]


def _headline(plan: Plan, tolerance_of: Role | None) -> str:
    carrier = format_frequency(plan.carrier_hz)
    words = [f"Transmitter on {carrier}"]
    if plan.if_hz is not None and plan.side is not None:
        words = [
            f"Receiver on {carrier}",
            f"IF {format_frequency(plan.if_hz)} with {plan.side.value}-side injection",
        ]
    if plan.second_if_hz is not None and plan.second_side is not None:
        second = format_frequency(plan.second_if_hz)
        words.append(f"second IF {second} with {plan.second_side.value}-side injection")
    words.append(
        "multiplier unknown" if plan.multiplier is None else f"crystal × {plan.multiplier}"
    )
    of = "" if tolerance_of is None else f" of the {tolerance_of.value}"
    return f"{', '.join(words)}. Tolerance {plan.allowed}{of}."


def _lines(lines: Sequence[Expected]) -> Table:
    return table(
        ["line", "expected", "tolerance", "<on a loop", "<comes about as"],
        [
            (
                line.name,
                format_frequency(line.expected_hz),
                f"± {format_span(line.tolerance_hz)}",
                _visibility(line),
                Text(line.formula),
            )
            for line in lines
        ],
    )


def _visibility(line: Expected) -> Text:
    if line.wanted:
        return Text("must be there", style="bold")
    if line.radiated:
        return Text("may be weak")
    # What a set only responds to it does not send; an IF it has while something is received.
    words = "while it receives" if line.role in (Role.IF, Role.SECOND_IF) else "only responds"
    return Text(words, style="dim")


def _crystals_title(result: PlanResult) -> str:
    """The rule by which all rows of the table come about."""
    first = result.crystals[0]
    if result.plan is not None:
        return f"Crystal: {format_frequency(result.plan.driven_hz)} / multiplier"
    offset_hz = first.carrier_hz - first.multiplier * first.crystal_hz
    crystal = format_frequency(first.crystal_hz)
    if first.lo_hz is None:
        return f"Carrier sent: multiplier × {crystal}"
    sign = "+" if offset_hz > 0 else "−"
    return f"Carrier received: multiplier × {crystal} {sign} {format_frequency(abs(offset_hz))}"


def _crystals(crystals: Sequence[CrystalChoice], *, carriers: bool) -> Table:
    last = "carrier" if carriers else "crystal"
    return table(
        ["multiplier", last, "crystal off by", "carrier off by", "or"],
        [
            (
                f"× {each.multiplier}",
                format_frequency(each.carrier_hz if carriers else each.crystal_hz),
                f"± {format_span(each.crystal_tolerance_hz)}",
                f"± {format_span(each.channel_tolerance_hz)}",
                f"± {format_parts(each.channel_tolerance_ppm)}",
            )
            for each in crystals
        ],
    )


def _candidates(candidates: Sequence[Candidate]) -> Table:
    """Columns for carrier, multiplier and second IF only where they tell something."""
    carrier = len({format_frequency(each.carrier_hz) for each in candidates}) > 1
    multiplier = any(each.multiplier is not None for each in candidates)
    second = any(each.second_if_hz is not None for each in candidates)
    headers = [
        "IF",
        "<side",
        *(["<second IF"] if second else []),
        *(["carrier"] if carrier else []),
        *(["crystal"] if multiplier else []),
        "LO off by",
        "score",
        "<because",
    ]
    return table(
        headers,
        [
            (
                _first_if(each),
                "–" if each.side is None else each.side.value,
                *([_second_if(each)] if second else []),
                *([format_frequency(each.carrier_hz)] if carrier else []),
                *([_multiplier(each)] if multiplier else []),
                _injection_error(each),
                "–" if each.score is None else format_chance(each.score),
                Text(_because(each)),
            )
            for each in candidates
        ],
        left=0,
    )


def _multiplier(candidate: Candidate) -> str:
    return "–" if candidate.multiplier is None else f"× {candidate.multiplier}"


def _first_if(candidate: Candidate) -> str:
    if candidate.if_hz is None:
        return "none"
    if candidate.origin is Origin.MEASURED and candidate.u_hz is not None:
        return format_frequency(candidate.if_hz, 2.0 * candidate.u_hz)
    return format_frequency(candidate.if_hz)


def _second_if(candidate: Candidate) -> str:
    if candidate.second_if_hz is None or candidate.second_side is None:
        return "–"
    return f"{format_frequency(candidate.second_if_hz)} {candidate.second_side.value}"


def _injection_error(candidate: Candidate) -> str:
    if candidate.injection_error_hz is None or candidate.u_hz is None:
        return "–"
    expanded_hz = 2.0 * candidate.u_hz
    error = format_error(candidate.injection_error_hz, expanded_hz)
    return f"{error} ± {format_span(expanded_hz)}"


def _because(candidate: Candidate) -> str:
    words = [_is(line) for line in candidate.lines]
    if candidate.origin is Origin.TRANSMITTER:
        words.insert(0, "a transmitter")
    if candidate.origin is Origin.MEASURED:
        words.insert(0, "measured, no usual IF")
    if not candidate.fits:
        words.insert(0, "does not fit")
    words += [f"{format_frequency(hz)} unexplained" for hz in candidate.unexplained_hz]
    return ", ".join(words)


def _is(line: ExplainedLine) -> str:
    return f"{format_frequency(line.seen_hz)} {_WORDS[line.role].format(line.multiple)}"
