"""Which dongles are here, and why there is none."""

import os
import sys
from dataclasses import dataclass
from pathlib import Path

from sniff.errors import SourceError
from sniff.sources.dongle.faults import CallFailedError, busy, no_permission, not_opened
from sniff.sources.dongle.handle import Handle, UsbStrings, usb_strings
from sniff.sources.dongle.library import Driver, load_driver, quiet
from sniff.sources.dongle.tuners import tuner_of

_LONGEST_INDEX = 2
_LISTED_BANDWIDTH_HZ = 2e6
_USB_DEVICES = Path("/sys/bus/usb/devices")
_USB_NODES = Path("/dev/bus/usb")
_VENDOR, _PRODUCTS = "0bda", ("2832", "2838")
_KERNEL_DRIVER = "dvb_usb_rtl28xxu"


@dataclass(frozen=True, slots=True, kw_only=True)
class DongleListing:
    """One dongle that is plugged in.

    Attributes
    ----------
    index : int
        As the driver counts them; may change when one is unplugged.
    serial, product : str
        What it says of itself; empty where it does not let itself be asked.
    tuner : str or None
        Its tuner; None when it could not be opened.
    range_hz : tuple of float or None
        Lowest and highest centre, Hz.
    gains_db : tuple of float
        Gain steps, dB.
    trouble : str or None
        Why it cannot be used, in one line.
    """

    index: int
    serial: str
    product: str
    tuner: str | None = None
    range_hz: tuple[float, float] | None = None
    gains_db: tuple[float, ...] = ()
    trouble: str | None = None


def list_dongles() -> tuple[DongleListing, ...]:
    """Ask every dongle that the driver sees; none leaves the tuple empty, see `why_none`.

    Raises
    ------
    SourceError
        When the driver's library is not there.
    """
    driver = load_driver()
    return tuple(_listing(driver, index) for index in range(_count(driver)))


def find_dongle(driver: Driver, wanted: str | None, *, name: str) -> tuple[int, UsbStrings]:
    """Index and strings of the dongle the user means.

    Parameters
    ----------
    driver : Driver
    wanted : str or None
        A serial number; or an index, when it has at most two digits and is nobody's serial
        number; None for the only one there is.
    name : str
        As the user wrote it, for errors.

    Raises
    ------
    SourceError
        When there is none, or several could be meant.
    """
    count = _count(driver)
    if not count:
        raise SourceError(f"{name}: no dongle is seen; {'; '.join(why_none())}")
    all_strings = [_strings(driver, index, name) for index in range(count)]
    serials = [strings.serial for strings in all_strings]
    if wanted is None:
        matching = list(range(count))
    else:
        matching = [index for index, serial in enumerate(serials) if serial == wanted]
        if not matching and wanted.isdecimal() and len(wanted) <= _LONGEST_INDEX:
            matching = [int(wanted)] if int(wanted) < count else []
    there = ", ".join(f"{index} (serial {serial})" for index, serial in enumerate(serials))
    if not matching:
        raise SourceError(f"{name}: no dongle is called so; there are {there}")
    if len(matching) > 1:
        raise SourceError(
            f"{name}: several dongles could be meant; name one by its number, such as "
            f"dongle:{matching[0]}: {there}"
        )
    return matching[0], all_strings[matching[0]]


def why_none(
    platform: str = sys.platform, devices: Path = _USB_DEVICES, nodes: Path = _USB_NODES
) -> tuple[str, ...]:
    """The likely reasons why the driver sees no dongle, the likeliest first.

    Parameters
    ----------
    platform : str
        As `sys.platform`.
    devices, nodes : pathlib.Path
        On Linux, where the system lists what is on the USB, and where the devices' files are.
    """
    plug = "plug it in, and try another socket or cable and no hub"
    if platform.startswith("linux"):
        return _why_none_linux(devices, nodes, plug)
    if platform == "win32":
        return (
            plug,
            "if the Device Manager shows it, give its interface 0 ('Bulk-In, Interface 0') the "
            "driver WinUSB in place of the television driver",
        )
    return (plug,)


def _why_none_linux(devices: Path, nodes: Path, plug: str) -> tuple[str, ...]:
    found = [device for device in _folders(devices) if _is_dongle(device)]
    if not found:
        return (plug, "the system does not see it on the USB at all: no driver is to blame")
    for device in found:
        if any(
            (part / "driver").resolve().name == _KERNEL_DRIVER
            for part in _folders(devices)
            if part.name.startswith(f"{device.name}:")
        ):
            return (busy("linux"),)
        node = nodes / f"{int(_text(device / 'busnum') or 0):03}"
        node /= f"{int(_text(device / 'devnum') or 0):03}"
        if node.exists() and not os.access(node, os.R_OK | os.W_OK):
            return (no_permission("linux"),)
    return ("it is on the USB, but the driver does not see it; unplug it and plug it in again",)


def _folders(devices: Path) -> list[Path]:
    try:
        return sorted(devices.iterdir())
    except OSError:
        return []


def _is_dongle(device: Path) -> bool:
    return _text(device / "idVendor") == _VENDOR and _text(device / "idProduct") in _PRODUCTS


def _text(file: Path) -> str:
    try:
        return file.read_text().strip()
    except OSError:
        return ""


def _count(driver: Driver) -> int:
    with quiet():
        return int(driver.calls.rtlsdr_get_device_count())


def _strings(driver: Driver, index: int, name: str) -> UsbStrings:
    try:
        return usb_strings(driver, index)
    except CallFailedError as failure:
        raise not_opened(name, failure.code) from None


def _listing(driver: Driver, index: int) -> DongleListing:
    name = f"dongle {index}"
    try:
        strings = _strings(driver, index, name)
    except SourceError as error:
        return DongleListing(index=index, serial="", product="", trouble=str(error))
    handle = Handle(driver)
    try:
        handle.open(index, name=name)
        tuner = tuner_of(handle, strings, bandwidth_hz=_LISTED_BANDWIDTH_HZ)
        gains_db = handle.gains_db() if tuner.has_gain else ()
    except (SourceError, CallFailedError) as failure:
        why = failure if isinstance(failure, SourceError) else not_opened(name, failure.code)
        return DongleListing(
            index=index, serial=strings.serial, product=strings.product, trouble=str(why)
        )
    finally:
        handle.close()
    return DongleListing(
        index=index,
        serial=strings.serial,
        product=strings.product,
        tuner=tuner.name,
        range_hz=tuner.range_hz,
        gains_db=gains_db,
    )
