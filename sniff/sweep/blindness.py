"""What the reader of a sweep must know of places where it saw badly, or nothing."""

from collections.abc import Sequence

from sniff.frontend import coarse_caution
from sniff.model import Caution
from sniff.sweep.hops import Span
from sniff.sweep.passband import FEWEST_HOPS
from sniff.sweep.swept import SweepResult
from sniff.units import format_frequency, format_span

_MOST_LISTED = 3


def overload_cautions(centers_hz: Sequence[float]) -> tuple[Caution, ...]:
    """Of the hops at which the converter was at its rails, by their centres."""
    if not centers_hz:
        return ()
    at = _listed([format_frequency(hz, 1e5) for hz in centers_hz])
    text = (
        f"overload at {len(centers_hz)} tunings, about {at}: levels are wrong there and lines may "
        "be false. Less gain, more attenuation or more distance."
    )
    return (Caution(code="overload", text=text),)


def coarse_cautions(
    noise_dbfs_per_hz: float | None, rate_hz: float, datatype: str
) -> tuple[Caution, ...]:
    """Where the noise is too weak to smooth the converter's steps; see `coarse_caution`."""
    if noise_dbfs_per_hz is None:
        return ()
    noise_power = 10.0 ** (noise_dbfs_per_hz / 10.0) * rate_hz
    coarse = coarse_caution(datatype, noise_power=noise_power)
    return () if coarse is None else (coarse,)


def not_equalised_caution(hops: int) -> Caution:
    """Of a sweep from which no pass-band's shape could be learned."""
    text = "the pass-band's shape could not be told from signals"
    if hops < FEWEST_HOPS:
        text = (
            f"too few hops to tell the pass-band's shape from signals, {hops} of the {FEWEST_HOPS} "
            "that it takes"
        )
    return Caution(code="not-equalised", text=f"{text}: levels fall towards a hop's edges")


def blind_spots(result: SweepResult) -> tuple[Caution, ...]:
    """What no hop showed, and what only a hop's spike covered."""
    cautions = []
    if result.unobserved:
        parts = [_span_words(part) for part in result.unobserved]
        text = f"not observed: {_listed(parts)}"
        cautions.append(Caution(code="unobserved", text=text))
    if result.interpolated:
        parts = [_span_words(part) for part in result.interpolated]
        text = (
            f"{_places(len(parts))} interpolated, and a line there would not be seen: "
            f"{_listed(parts)}"
        )
        cautions.append(Caution(code="interpolated", text=text))
    return tuple(cautions)


def _places(count: int) -> str:
    if count == 1:
        return "1 place under a hop's spike was"
    return f"{count} places under a hop's spike were"


def _span_words(span: Span) -> str:
    width_hz = span.high_hz - span.low_hz
    return (
        f"{format_span(width_hz)} about {format_frequency((span.low_hz + span.high_hz) / 2, 1e3)}"
    )


def _listed(words: list[str]) -> str:
    more = len(words) - _MOST_LISTED
    shown = ", ".join(words[:_MOST_LISTED])
    return f"{shown} and {more} more" if more > 0 else shown
