"""The driver's error numbers in plain words, for the system at hand.

The texts that the wrapper gives are those of the USB library even where the number is not one of
its own: a missing device is an "input/output error", a serial number that nobody has is an "access
denied". So each place that calls says what it did, and the number is read in that light.
"""

import sys

from sniff.errors import SourceError

NO_PERMISSION = -3
NOT_FOUND = -5
BUSY = -6
NOT_SUPPORTED = -12

_UDEV_RULE = 'SUBSYSTEM=="usb", ATTRS{idVendor}=="0bda", TAG+="uaccess"'
_UDEV_FILE = "/etc/udev/rules.d/70-dongle.rules"


class DongleLostError(SourceError):
    """The dongle went away, or fell silent, while it was being read."""


class CallFailedError(Exception):
    """A call into the driver failed: its handle must be closed, and never be used again.

    Attributes
    ----------
    code : int
        What the driver returned.
    doing : str
        What was being done, to follow "the dongle failed while".
    """

    def __init__(self, code: int, doing: str) -> None:
        super().__init__(f"{doing}: {code}")
        self.code = code
        self.doing = doing


def no_permission(platform: str = sys.platform) -> str:
    """What to do when the system does not let this user at the dongle."""
    if platform.startswith("linux"):
        return (
            f"this user may not use it; as root write {_UDEV_RULE!r} into {_UDEV_FILE}, run "
            "'udevadm control --reload', and plug the dongle in again"
        )
    if platform == "win32":
        return wrong_usb_driver()
    return "the system does not let this program use it; close other programs that may hold it"


def wrong_usb_driver() -> str:
    """What to do on Windows when the dongle has the television driver."""
    return (
        "it has not the WinUSB driver; in the Device Manager give the dongle's interface 0 "
        "('Bulk-In, Interface 0') WinUSB in place of the television driver"
    )


def busy(platform: str = sys.platform) -> str:
    """What to do when somebody else holds the dongle."""
    if platform.startswith("linux"):
        return (
            "another program has it, or the kernel took it for television; close that program, or "
            "run 'sudo modprobe -r dvb_usb_rtl28xxu' (to make it stay so, write 'blacklist "
            "dvb_usb_rtl28xxu' into /etc/modprobe.d/dongle.conf)"
        )
    return "another program has it; close that program"


def not_opened(name: str, code: int, platform: str = sys.platform) -> SourceError:
    """Why opening failed."""
    if code == NO_PERMISSION:
        return SourceError(f"{name}: {no_permission(platform)}")
    if code == BUSY:
        return SourceError(f"{name}: {busy(platform)}")
    if platform == "win32" and code in (NOT_FOUND, NOT_SUPPORTED):
        return SourceError(f"{name}: {wrong_usb_driver()}")
    return SourceError(
        f"{name}: it is there but does not answer (driver error {code}); unplug it, plug it in "
        "again, and try another socket, a short cable and no hub"
    )


def gone(name: str) -> DongleLostError:
    """It left while it was being read."""
    return DongleLostError(
        f"{name}: the dongle was unplugged, or its cable has a bad contact; plug it in and start "
        "again"
    )


def stalled(name: str, seconds: float) -> DongleLostError:
    """It is there but sends nothing."""
    return DongleLostError(
        f"{name}: the dongle has sent nothing for {seconds:g} s; unplug it and plug it in again, "
        "without a hub"
    )


def failed(name: str, failure: CallFailedError) -> SourceError:
    """A setting was refused twice, on a fresh handle too."""
    return SourceError(
        f"{name}: the dongle failed while {failure.doing} (driver error {failure.code}); unplug "
        "it and plug it in again"
    )
