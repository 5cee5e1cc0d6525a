"""What the reader of a result must know of the dongle that it came from."""

import os

from calib.tuner import Tuning
from sniff.model import Caution
from sniff.sources.dongle.link import Settings
from sniff.sources.dongle.tuners import Tuner

SAFE_RATE_HZ = 2.56e6
"""Above this the chip loses samples without telling (common practice, no source)."""

_DRIVER_OPTIONS = "LIBRTLSDR_OPT"


def cautions_of(
    settings: Settings, tuner: Tuner, tuning: Tuning, *, lost: int
) -> tuple[Caution, ...]:
    """Cautions as things stand.

    Parameters
    ----------
    settings : Settings
    tuner : Tuner
    tuning : Tuning
    lost : int
        Samples lost so far.
    """
    found = []
    if settings.rate_hz > SAFE_RATE_HZ:
        found.append(
            Caution(
                code="rate-loses-samples",
                text=f"at {settings.rate_hz / 1e6:g} MS/s the dongle may lose samples without "
                f"telling; at most {SAFE_RATE_HZ / 1e6:g} MS/s are safe",
            )
        )
    if tuner.has_gain and settings.gain_db is None:
        found.append(
            Caution(
                code="levels-not-fixed",
                text="the gain is automatic: levels follow what else is heard and cannot be "
                "compared",
            )
        )
    if tuning.u_center_hz > 0:
        found.append(
            Caution(
                code="tuner-unknown",
                text=f"what the tuner ({tuner.name}) makes of a frequency is not known: all "
                f"readings are unsure by {2 * tuning.u_center_hz:.0f} Hz (k = 2) more",
            )
        )
    if settings.bias_supply:
        found.append(
            Caution(
                code="bias-supply",
                text="the antenna socket carries a direct voltage: a loop of coax is a short, and "
                "a set's output may not stand it",
            )
        )
    if _DRIVER_OPTIONS in os.environ:
        found.append(
            Caution(
                code="driver-options",
                text=f"{_DRIVER_OPTIONS} is set: the driver may tune and set otherwise than it is "
                "told; unset it",
            )
        )
    if lost:
        found.append(
            Caution(
                code="samples-lost",
                text=f"{lost} samples were lost on the way from the dongle; ask for a lower "
                "--rate, or give the computer less else to do",
            )
        )
    return tuple(found)
