"""References as text: how good they are, where they hold, and by whom."""

from collections.abc import Mapping
from pathlib import Path
from typing import Protocol

from calib.references import KINDS, Kind, Reference
from sniff.report.text import console, table
from sniff.units import format_frequency, format_parts

_EXAMPLE_HZ = 100e6


class Own(Protocol):
    """A reference of the user's, with where it holds."""

    @property
    def where(self) -> str: ...
    def reference(self) -> Reference: ...


def print_references(own: Mapping[str, Own], *, path: Path) -> None:
    """Print all kinds, and those of the user's own."""
    out = console()
    out.print(
        table(
            ["<kind", "limit", "<where", "<by"],
            [
                (kind.name, _limit(kind), kind.where, f"{kind.source} ({kind.evidence.value})")
                for kind in KINDS.values()
            ],
        )
    )
    out.print()
    if not own:
        out.print(f"None of your own; they would stand in {path}.", markup=False)
        return
    rows = []
    for each in own.values():
        reference = each.reference()
        rows.append(
            (
                reference.name,
                format_frequency(reference.nominal_hz),
                f"±{format_parts(reference.limit_hz / reference.nominal_hz * 1e6)}",
                each.where,
                reference.source,
            )
        )
    out.print(table(["<of your own", "frequency", "limit", "<where", "<by"], rows))


def _limit(kind: Kind) -> str:
    hz = next(iter(kind.channels.values()), kind.bands_hz[0][0] if kind.bands_hz else _EXAMPLE_HZ)
    return f"±{format_parts(kind.limit(hz) / hz * 1e6)} at {format_frequency(hz)}"
