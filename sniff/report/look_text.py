"""A look as text: the peaks as a table."""

from rich.text import Text

from calib.correction import Correction
from sniff.frontend import describe_spur
from sniff.look import Look, LookResult, SeenLine
from sniff.model import NOT_SIGNALS, Mark, SourceInfo
from sniff.prove import Proof
from sniff.report.text import console, table
from sniff.units import (
    format_db,
    format_dbfs,
    format_dbm,
    format_error,
    format_expanded,
    format_frequency,
    format_parts,
    format_ppm,
    format_seconds,
    format_span,
)

_WORDS = {
    Mark.DC: "the receiver's own centre",
    Mark.IMAGE: "mirror of a stronger line",
    Mark.OWN_SPUR: "may be the dongle's own",
    Mark.EDGE: "at the edge, level too low",
    Mark.OVERLOAD: "made by overload",
}
_MOST_SHOWN = 16
_RESTLESS = 0.01  # of the RBW; a smaller wander is told by U


_PROOFS = {
    Proof.REAL: "proved real",
    Proof.OWN: "proved the receiver's own",
    Proof.IMAGE: "proved an image",
    Proof.OVERLOAD: "proved a product of overload",
    Proof.UNPROVEN: "not proved",
}


def print_look(look: Look, info: SourceInfo, correction: Correction) -> None:
    """Print the peaks, signals first, then what the front end made."""
    out = console()
    result = look.result
    out.print(
        f"{info.name}: {format_seconds(result.seconds)} at {format_frequency(result.center_hz)}, "
        f"span {format_frequency(result.rate_hz)}, RBW {format_span(result.rbw_hz)} "
        f"({result.window}, {result.averages} averages)"
    )
    out.print(f"Noise {format_dbfs(result.noise_dbfs_per_hz)}/Hz. Clock {clock_words(correction)}.")
    signals = [line for line in result.peaks if _is_signal(line)]
    others = [line for line in result.peaks if not _is_signal(line)]
    out.print()
    if signals:
        out.print(_table(signals[:_MOST_SHOWN], result, info.clock_hz))
    else:
        out.print("No line stands out of the noise.")
    if len(signals) > _MOST_SHOWN:
        out.print(f"and {len(signals) - _MOST_SHOWN} weaker ones; --json lists all")
    if others:
        out.print()
        out.print("Made by the receiver itself, not signals:")
        out.print(_table(others, result, info.clock_hz))


def _is_signal(line: SeenLine) -> bool:
    """By proof where there is one, else by the marks."""
    if line.proof in (None, Proof.UNPROVEN):
        return not NOT_SIGNALS.intersection(line.marks)
    return line.proof is Proof.REAL


def clock_words(correction: Correction) -> str:
    """``+31.5 ppm ± 0.4 ppm (k = 2), as stated``: the correction in words."""
    expanded_ppm = 2.0 * correction.u_ppm
    ppm = "" if correction.ppm == 0 else f"{format_ppm(correction.ppm, expanded_ppm)} "
    return f"{ppm}± {format_parts(expanded_ppm)} (k = 2), {correction.origin}"


def _table(lines: list[SeenLine], result: LookResult, clock_hz: float | None) -> object:
    calibrated = any(line.level_dbm is not None for line in lines)
    return table(
        [
            *["frequency", "U (k = 2)", "from centre", "level"],
            *(["at the input"] if calibrated else []),
            *["over noise", "<remarks"],
        ],
        [
            (
                format_frequency(line.frequency_hz, line.expanded_hz),
                f"± {format_expanded(line.expanded_hz)}",
                format_error(line.indicated_hz - result.center_hz, 2.0 * line.u_indicated_hz),
                format_dbfs(line.level_dbfs),
                *([at_input(line)] if calibrated else []),
                format_db(line.snr_db),
                Text(remarks(line, result.rbw_hz, clock_hz)),
            )
            for line in lines
        ],
        left=0,
    )


def at_input(line: SeenLine) -> str:
    """Its level at the dongle's input with U (k = 2); empty where no known level tells it."""
    if line.level_dbm is None or line.u_level_db is None:
        return ""
    return format_dbm(line.level_dbm, 2.0 * line.u_level_db)


def remarks(line: SeenLine, rbw_hz: float, clock_hz: float | None) -> str:
    """What to know of a line besides its numbers, in words."""
    words = [] if line.proof is None else [_PROOFS[line.proof]]
    words += [_WORDS[mark] for mark in line.marks]
    if Mark.OWN_SPUR in line.marks and clock_hz:
        words.append(describe_spur(line.indicated_hz, clock_hz))
    if line.width_hz > 0:
        words.append(f"{format_span(line.width_hz)} wide")
    elif not line.steady and line.u_indicated_hz > _RESTLESS * rbw_hz:
        words.append("not steady")
    return ", ".join(words)
