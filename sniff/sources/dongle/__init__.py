"""The dongle: live IQ through pyrtlsdr. The only room that knows the driver."""

from sniff.sources.dongle.assembly import RawBlock
from sniff.sources.dongle.devices import DongleListing, list_dongles, why_none
from sniff.sources.dongle.faults import DongleLostError
from sniff.sources.dongle.opening import open_dongle
from sniff.sources.dongle.source import DongleSource

__all__ = [
    "DongleListing",
    "DongleLostError",
    "DongleSource",
    "RawBlock",
    "list_dongles",
    "open_dongle",
    "why_none",
]
