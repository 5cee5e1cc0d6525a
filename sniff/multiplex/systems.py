"""Systems: how the symbols of a multiplex follow each other, and which carriers they hold.

Sources: DAB mode I, EN 300 401, clause 14 (T = 1/2 048 000 s); DVB-T, EN 300 744, clause 4
(T = 7/64 µs for 8 MHz, 1/8 µs for 7 MHz, 7/48 µs for 6 MHz). The places of DVB-T's continual
pilots are from memory; all are multiples of three, as places of scattered pilots must be, and
their numbers (45 and 177) are the standard's.
"""

from dataclasses import dataclass

DAB_T_S = 1.0 / 2_048_000.0

_DAB_SYMBOLS = 76
_DAB_SYMBOL_T, _DAB_NULL_T, _DAB_GUARD_T, _DAB_USEFUL_T = 2552, 2656, 504, 2048

DVBT_T_S = {8: 7e-6 / 64.0, 7: 1e-6 / 8.0, 6: 7e-6 / 48.0}
"""Elementary period by the channel's width in megahertz, s."""

_PILOTS_2K = (
    *(0, 48, 54, 87, 141, 156, 192, 201, 255, 279, 282, 333, 432, 450, 483, 525, 531, 618),
    *(636, 714, 759, 765, 780, 804, 873, 888, 918, 939, 942, 969, 984, 1050, 1101, 1107, 1110),
    *(1137, 1140, 1146, 1206, 1269, 1323, 1377, 1491, 1683, 1704),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rhythm:
    """When symbols begin, in true time.

    Attributes
    ----------
    useful_s : float
        What each symbol repeats after, s: the inverse of the distance of two carriers.
    guard_s : float
        How much of it is repeated, at the symbol's beginning, s.
    period_s : float
        After which all begins again, s.
    starts_s : tuple of float
        Beginnings of the symbols within a period, s.
    """

    useful_s: float
    guard_s: float
    period_s: float
    starts_s: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class System:
    """One kind of multiplex in one of its modes.

    Attributes
    ----------
    name : str
    rhythms : tuple of Rhythm
        Those that the standard allows.
    reach : int
        Carriers lie from -`reach` to +`reach` spacings about the channel's centre.
    middle_empty : bool
        Whether the carrier at the centre is never sent.
    pilots : tuple of int
        Carriers that are the same in every symbol, spacings from the centre.
    """

    name: str
    rhythms: tuple[Rhythm, ...]
    reach: int
    middle_empty: bool
    pilots: tuple[int, ...]

    @property
    def useful_s(self) -> float:
        """As in `Rhythm`, s."""
        return self.rhythms[0].useful_s

    @property
    def spacing_hz(self) -> float:
        """Distance of two carriers, Hz."""
        return 1.0 / self.useful_s

    @property
    def half_width_hz(self) -> float:
        """Half of what it takes up, Hz."""
        return (self.reach + 0.5) * self.spacing_hz


def _dab() -> System:
    starts = tuple(
        (_DAB_NULL_T + number * _DAB_SYMBOL_T) * DAB_T_S for number in range(_DAB_SYMBOLS)
    )
    rhythm = Rhythm(
        useful_s=_DAB_USEFUL_T * DAB_T_S,
        guard_s=_DAB_GUARD_T * DAB_T_S,
        period_s=(_DAB_NULL_T + _DAB_SYMBOLS * _DAB_SYMBOL_T) * DAB_T_S,
        starts_s=starts,
    )
    return System(name="DAB mode I", rhythms=(rhythm,), reach=768, middle_empty=True, pilots=())


def _dvbt(mode: int, width: int) -> System:
    useful_s = 2048 * mode // 2 * DVBT_T_S[width]
    # The places of mode 8k are those of 2k, four times one after the other.
    last = 1704 * mode // 2
    pilots = {place + 1704 * turn for place in _PILOTS_2K for turn in range(mode // 2)}
    rhythms = tuple(
        Rhythm(
            useful_s=useful_s,
            guard_s=useful_s / part,
            period_s=useful_s * (1.0 + 1.0 / part),
            starts_s=(0.0,),
        )
        for part in (4, 8, 16, 32)
    )
    return System(
        name=f"DVB-T {mode}k in {width} MHz",
        rhythms=rhythms,
        reach=last // 2,
        middle_empty=False,
        pilots=tuple(sorted(place - last // 2 for place in pilots)),
    )


SYSTEMS: dict[str, tuple[System, ...]] = {
    "dab": (_dab(),),
    **{f"dvbt{width}": (_dvbt(8, width), _dvbt(2, width)) for width in DVBT_T_S},
}
"""By the name that a reference bears; several where the mode is only found by listening."""
