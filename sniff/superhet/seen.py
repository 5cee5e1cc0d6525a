"""Seen: a line of a working set, as a user tells it."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite, sqrt

from sniff.errors import UsageError
from sniff.model import Caution
from sniff.superhet.plan import Role, require_frequency
from sniff.units import format_frequency, format_parts, format_span, parse_frequency

SAYABLE_ROLES = (
    Role.CARRIER,
    Role.LO,
    Role.CRYSTAL,
    Role.CRYSTAL_HARMONIC,
    Role.SECOND_LO,
    Role.SECOND_LO_HARMONIC,
)
"""Roles that a user may know of a line before the plan is known."""

READ_BY_EYE_LIMIT_HZ = 500.0
"""Half-width assumed for a line given without its uncertainty: read off a scale to the nearest
kilohertz."""

_SIGNS = ("±", "+-", "+/-")


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """A line seen at a working set.

    Attributes
    ----------
    frequency_hz : float
        Where, Hz.
    u_hz : float
        Standard uncertainty (k = 1) that it shares with no other line, Hz; above zero.
    u_clock_ppm : float
        Standard uncertainty of the clock it was read with, ppm: common to the lines that have
        one, so that it nearly cancels in their differences. Zero when `u_hz` says all.
    role : Role or None
        What it is known to be, one of `SAYABLE_ROLES`; None: the inference finds out.
    """

    frequency_hz: float
    u_hz: float
    u_clock_ppm: float = 0.0
    role: Role | None = None

    def __post_init__(self) -> None:
        require_frequency("a line seen at", self.frequency_hz)
        if not isfinite(self.u_hz) or self.u_hz <= 0:
            raise UsageError(
                f"the line seen at {format_frequency(self.frequency_hz)} needs an uncertainty "
                f"above zero, not {self.u_hz:g} Hz"
            )
        if not isfinite(self.u_clock_ppm) or self.u_clock_ppm < 0:
            raise UsageError(f"a clock's uncertainty cannot be {self.u_clock_ppm:g} ppm")
        if self.role is not None and self.role not in SAYABLE_ROLES:
            known = ", ".join(role.value for role in SAYABLE_ROLES)
            raise UsageError(f"a line seen is one of {known}, not {self.role.value}")


def parse_seen(text: str, *, u_clock_ppm: float) -> Seen:
    """Read ``83.6M``, ``lo=83.6M`` or ``lo = 83.6012 MHz ± 4.2 kHz``.

    The number after ± is U (k = 2), all causes in it, as `sniff look` prints it. Without one
    the line was read within ± `READ_BY_EYE_LIMIT_HZ`, with a clock of `u_clock_ppm`.

    Parameters
    ----------
    text : str
        What the user wrote.
    u_clock_ppm : float
        Standard uncertainty of the clock, ppm.

    Raises
    ------
    UsageError
        On an unknown role, no frequency, or an uncertainty that is none.
    """
    word, equals, value = text.rpartition("=")
    role = _role(word.strip()) if equals else None
    for sign in _SIGNS:
        frequency, found, expanded = value.partition(sign)
        if found:
            return Seen(
                frequency_hz=parse_frequency(frequency),
                u_hz=parse_frequency(expanded) / 2.0,
                role=role,
            )
    return Seen(
        frequency_hz=parse_frequency(value),
        u_hz=READ_BY_EYE_LIMIT_HZ / sqrt(3.0),
        u_clock_ppm=u_clock_ppm,
        role=role,
    )


def seen_cautions(seen: Sequence[Seen]) -> tuple[Caution, ...]:
    """What was assumed of lines given without an uncertainty of their own."""
    clocks = {line.u_clock_ppm for line in seen if line.u_clock_ppm > 0}
    if not clocks:
        return ()
    text = (
        f"lines without ± are taken as read within ± {format_span(READ_BY_EYE_LIMIT_HZ)}, with a "
        f"clock good to ± {format_parts(2.0 * max(clocks))} (k = 2); write 83.6012M±80, or give "
        "--u-ppm"
    )
    return (Caution(code="read-by-eye", text=text),)


def _role(word: str) -> Role:
    for role in SAYABLE_ROLES:
        if role.value == word.lower():
            return role
    known = ", ".join(role.value for role in SAYABLE_ROLES)
    raise UsageError(f"{word!r} is no line one can see; say {known}, or the frequency alone")
