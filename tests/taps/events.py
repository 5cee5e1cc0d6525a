"""Drop-outs and rows, as far as taps are concerned with them."""

from dataclasses import dataclass

from sniff.watch.nouns import Kind


@dataclass(frozen=True)
class Gone:
    start_s: float
    end_s: float
    kind: Kind | None


@dataclass(frozen=True)
class Second:
    start_s: float
    indicated_hz: float | None
    median_dbfs: float | None = -40.0


def dropout(start_s: float, duration_s: float = 0.02, kind: Kind | None = Kind.BREAK) -> Gone:
    return Gone(start_s, start_s + duration_s, kind)
