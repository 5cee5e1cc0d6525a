"""References as the user names them: a kind with its place, one of their own, a frequency."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from calib.references import KINDS, Kind, Reference, is_good_enough, reference_of
from sniff.errors import UsageError
from sniff.units import Tolerance, format_frequency, format_parts, parse_frequency

if TYPE_CHECKING:
    from sniff.cli.own_references import OwnReference


def kinds_in_words() -> str:
    """All kinds, each with its channels: ``fm, am, atsc (2 to 36), dab (5A to 13F)``."""
    return ", ".join(
        f"{kind.name} ({_channels_in_words(kind)})" if kind.channels else kind.name
        for kind in KINDS.values()
    )


def references_from(given: Mapping[str, Any]) -> list[Reference]:
    """The references that the options name.

    Raises
    ------
    UsageError
        When one is not understood, is not as good as `--for` wants it, or has no accuracy.
    InputError
        When a file of references does not say what it must.
    """
    from sniff.cli.own_references import own_references

    own = own_references(given["references_file"])
    accuracy = given["accuracy"]
    found = [_reference(text, accuracy, own) for text in given["references"]]
    if accuracy is not None and all(_is_named(text, own) for text in given["references"]):
        raise UsageError("--accuracy is of references given by frequency alone, and there is none")
    for reference in found:
        _refuse_if_useless(reference, given["wanted"])
    return found


def _is_named(text: str, own: Mapping[str, "OwnReference"]) -> bool:
    return text in own or ":" in text


def _reference(
    text: str, accuracy: Tolerance | None, own: Mapping[str, "OwnReference"]
) -> Reference:
    if text in own:
        return own[text].reference()
    kind_name, colon, rest = text.partition(":")
    if colon:
        if kind_name not in KINDS:
            raise UsageError(f"{kind_name!r} is no kind of reference; there are {kinds_in_words()}")
        return _of_kind(KINDS[kind_name], rest)
    try:
        nominal_hz = _above_zero(text)
    except UsageError:
        names = ", ".join(own) or "none"
        raise UsageError(
            f"--reference {text}: neither a frequency, nor a kind with one, nor one of your own: "
            f"of these there are {names}"
        ) from None
    if accuracy is None:
        raise UsageError(
            f"--reference {text}: how good is it? Give --accuracy, or a kind: {kinds_in_words()}"
        )
    return Reference(
        name=f"reference {format_frequency(nominal_hz)}",
        nominal_hz=nominal_hz,
        # A reference without any doubt would let the fit claim what nobody knows.
        limit_hz=max(accuracy.at(nominal_hz), nominal_hz * 1e-12),
        source=f"accuracy {accuracy} as stated",
    )


def _of_kind(kind: Kind, place: str) -> Reference:
    channel = place.strip().upper()
    if channel in kind.channels:
        return reference_of(kind, kind.channels[channel], channel=channel)
    try:
        nominal_hz = _above_zero(place)
    except UsageError:
        if not kind.channels:
            raise
        raise UsageError(
            f"{kind.name} has no channel {place!r}; there are {_channels_in_words(kind)}, or give "
            "its frequency"
        ) from None
    if not kind.holds_at(nominal_hz):
        bands = ", ".join(
            format_frequency(low)
            if low == high
            else f"{format_frequency(low)} to {format_frequency(high)}"
            for low, high in kind.bands_hz
        )
        raise UsageError(
            f"{kind.name}:{place}: none lies at {format_frequency(nominal_hz)}, but at {bands}; "
            "for another carrier give its frequency alone, and --accuracy"
        )
    return reference_of(kind, nominal_hz)


def _channels_in_words(kind: Kind) -> str:
    names = list(kind.channels)
    return f"{names[0]} to {names[-1]}"


def _above_zero(text: str) -> float:
    hz = parse_frequency(text)
    if hz <= 0:
        raise UsageError(f"--reference {text}: a carrier lies above zero")
    return hz


def _refuse_if_useless(reference: Reference, wanted: Tolerance | None) -> None:
    if wanted is None:
        return
    tolerance_ppm = wanted.ppm or wanted.at(reference.nominal_hz) / reference.nominal_hz * 1e6
    if not is_good_enough(reference, tolerance_ppm):
        expanded = format_parts(2.0 * reference.u_ppm)
        divisor = reference.shape.divisor
        raise UsageError(
            f"{reference.name} cannot serve for {wanted}: it lies within "
            f"±{format_parts(reference.limit_hz / reference.nominal_hz * 1e6)}, so u = "
            f"{format_parts(reference.u_ppm)} (that over {divisor:.3g}) and U = {expanded}, more "
            f"than half of {format_parts(tolerance_ppm)}"
        )
