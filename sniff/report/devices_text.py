"""Dongles as text, with the cautions that belong before the first connection."""

from collections.abc import Mapping, Sequence
from typing import Protocol

from sniff.report.text import console, table
from sniff.units import format_frequency

BEFORE_CONNECTING = (
    "Before you connect anything: the input stands about +10 dBm at the very most. Never put a "
    "transmitter's antenna socket on it without a dummy load and attenuators rated for the power.",
    "A direct voltage on the line kills it: use a DC block. Touch ground first (ESD). With --bias "
    "the socket carries a voltage, and a loop of coax is a short.",
    "Listening is regulated in many places: check your local rules.",
)


class Listed(Protocol):
    """A dongle as the list shows it."""

    @property
    def index(self) -> int: ...
    @property
    def serial(self) -> str: ...
    @property
    def product(self) -> str: ...
    @property
    def tuner(self) -> str | None: ...
    @property
    def range_hz(self) -> tuple[float, float] | None: ...
    @property
    def gains_db(self) -> tuple[float, ...]: ...
    @property
    def trouble(self) -> str | None: ...


def print_devices(
    listed: Sequence[Listed],
    reasons: Sequence[str],
    *,
    defaults: Mapping[str, object],
    defaults_path: str,
) -> None:
    """Print what is there, or the likely reasons why nothing is, and the user's defaults."""
    out = console()
    if listed:
        out.print(
            table(
                ["dongle", "<serial", "<product", "<tuner", "<tunes", "<gain", "<remarks"],
                [_row(dongle) for dongle in listed],
            )
        )
    else:
        out.print("No dongle is seen:")
        for reason in reasons:
            out.print(f"- {reason}", markup=False)
    out.print()
    said = ", ".join(f"{name} = {value}" for name, value in defaults.items())
    out.print(f"Defaults for a dongle, from {defaults_path}: {said or 'none'}", markup=False)
    out.print()
    for text in BEFORE_CONNECTING:
        out.print(text)


def _row(dongle: Listed) -> list[str]:
    span = dongle.range_hz
    gains = dongle.gains_db
    return [
        str(dongle.index),
        dongle.serial,
        dongle.product,
        dongle.tuner or "",
        "" if span is None else f"{format_frequency(span[0])} to {format_frequency(span[1])}",
        f"{gains[0]:g} to {gains[-1]:g} dB in {len(gains)} steps" if gains else "",
        dongle.trouble or "",
    ]
