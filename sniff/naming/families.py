"""Families of what a line may be: products of a set's oscillators, and what else is on the air."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from itertools import combinations
from math import ceil, floor

from calib.correction import Correction
from calib.references import KINDS
from sniff.superhet.expected import SECOND_LO_MULTIPLES, Expected, expected_lines
from sniff.superhet.plan import Plan, Role
from sniff.units import format_frequency

_MOST_MULTIPLES = 60
_MOST_DIVISOR = 9
_TUNER_PPM = 1.0  # how well a recording's stated centre is taken to be known

_RASTERS_HZ = {
    "fm": (87.5e6, 108e6, 100e3),
    "weather": (162.4e6, 162.55e6, 25e3),
}
"""First, last and step of the carriers of kinds without named channels: ITU Region 1's raster of
FM broadcasting (of which Region 2's is a part) and North America's weather radio, from memory."""


class Family(str, Enum):
    """What kind of thing a line may be, plainer ones first."""

    OSCILLATOR = "oscillator"
    RESPONSE = "response"
    HARMONIC = "harmonic"
    SUB_HARMONIC = "sub-harmonic"
    OWN_SPUR = "own-spur"
    PRODUCT = "mixing-product"
    REFERENCE = "reference"

    @property
    def may_be_off(self) -> bool:
        """Whether it is looked for outside its tolerance too."""
        return self is Family.OSCILLATOR


@dataclass(frozen=True, slots=True, kw_only=True)
class Base:
    """An oscillator of the set.

    Attributes
    ----------
    role : Role
    hz : float
        As seen, or as planned, Hz.
    u_hz : float
        Standard uncertainty of its indication (k = 1) where it was seen, Hz.
    limit_hz : float
        Its tolerance where it was not, Hz.
    measured : bool
    """

    role: Role
    hz: float
    u_hz: float
    limit_hz: float
    measured: bool

    @property
    def label(self) -> str:
        """What a formula calls it."""
        return {Role.LO: "LO", Role.SECOND_LO: "second LO"}.get(self.role, "carrier")


@dataclass(frozen=True, slots=True, kw_only=True)
class Product:
    """One candidate: a sum of multiples of oscillators, or a fixed frequency.

    Attributes
    ----------
    name : str
    family : Family
    order : int
    expected_hz, limit_hz : float
        Where it should be, and how far off by tolerances alone, Hz.
    terms : tuple of (float, Base)
        What it is made of.
    own : bool
        True for the dongle's own, exact on its own scale.
    """

    name: str
    family: Family
    order: int
    expected_hz: float
    limit_hz: float
    terms: tuple[tuple[float, Base], ...] = ()
    own: bool = False

    @classmethod
    def planned(cls, line: Expected) -> "Product":
        """A line of the plan."""
        return cls(
            name=line.name,
            family=Family.OSCILLATOR if line.radiated else Family.RESPONSE,
            order=1,
            expected_hz=line.expected_hz,
            limit_hz=line.tolerance_hz,
        )

    @classmethod
    def of(
        cls, name: str, family: Family, order: int, terms: Sequence[tuple[float, Base]]
    ) -> "Product":
        """A sum of multiples, its sign turned when it falls below zero."""
        total_hz = sum(times * base.hz for times, base in terms)
        turn = -1.0 if total_hz < 0.0 else 1.0
        return cls(
            name=name,
            family=family,
            order=order,
            expected_hz=abs(total_hz),
            limit_hz=sum(abs(times) * base.limit_hz for times, base in terms),
            terms=tuple((turn * times, base) for times, base in terms),
        )


def families(
    plan: Plan | None,
    bases: Mapping[Role, Base],
    *,
    low_hz: float,
    high_hz: float,
    correction: Correction,
    clock_hz: float | None,
    mixing_order: int,
) -> tuple[tuple[Product, ...], ...]:
    """All candidates that fall into a span, family by family, each product order by itself."""
    groups: list[list[Product]] = []
    if plan is not None:
        planned = [Product.planned(line) for line in expected_lines(plan)]
        groups += [
            [product for product in planned if product.family is family]
            for family in (Family.OSCILLATOR, Family.RESPONSE)
        ]
        known_hz = [product.expected_hz for product in planned]
        groups.append(_new(_harmonics(plan, bases, high_hz), known_hz))
        groups.append(_new(_sub_harmonics(plan, bases), known_hz))
        for order in range(2, mixing_order + 1):
            groups.append(_new(_mixed(tuple(bases.values()), order), known_hz))
    groups.append(list(_own_spurs(clock_hz, correction, low_hz, high_hz)))
    groups += [list(_references(name)) for name in (*_RASTERS_HZ, "atsc")]
    seen = [
        tuple(product for product in group if low_hz <= product.expected_hz <= high_hz)
        for group in groups
    ]
    return tuple(group for group in seen if group)


def _new(products: Iterator[Product], known_hz: Sequence[float]) -> list[Product]:
    """Those that the plan does not list by a plainer name."""
    return [
        product
        for product in products
        if all(abs(product.expected_hz - hz) > 1e-5 * hz for hz in known_hz)
    ]


def _harmonics(plan: Plan, bases: Mapping[Role, Base], high_hz: float) -> Iterator[Product]:
    driven = bases.get(Role.LO) or bases[Role.CARRIER]
    per = plan.multiplier or 1
    for times in _multiples(driven.hz / per, 1, high_hz):
        whole = times % per == 0
        if whole and times == per:
            continue
        name = f"{driven.label} × {times // per}" if whole else f"crystal × {times}"
        yield Product.of(name, Family.HARMONIC, times, [(times / per, driven)])
    if (second := bases.get(Role.SECOND_LO)) is not None:
        first = (plan.highest_multiple or SECOND_LO_MULTIPLES) + 1
        for times in _multiples(second.hz, first, high_hz):
            yield Product.of(f"second LO × {times}", Family.HARMONIC, times, [(times, second)])


def _multiples(unit_hz: float, first: int, high_hz: float) -> range:
    return range(first, min(floor(high_hz / unit_hz), _MOST_MULTIPLES) + 1)


def _sub_harmonics(plan: Plan, bases: Mapping[Role, Base]) -> Iterator[Product]:
    """Of what is multiplied up, while it is not known how often."""
    if plan.multiplier is not None:
        return
    driven = bases.get(Role.LO) or bases[Role.CARRIER]
    for by in range(2, _MOST_DIVISOR + 1):
        name = f"{driven.label} / {by}"
        yield Product.of(name, Family.SUB_HARMONIC, by, [(1.0 / by, driven)])


def _mixed(bases: Sequence[Base], order: int) -> Iterator[Product]:
    """``m f1 ± n f2`` with ``m + n = order``, of each pair of oscillators."""
    for one, two in combinations(bases, 2):
        for times in range(1, order):
            for sign in (1, -1):
                terms = [(float(times), one), (float(sign * (order - times)), two)]
                if sum(t * base.hz for t, base in terms) < 0.0:
                    terms = [(-t, base) for t, base in reversed(terms)]
                yield Product.of(_sum(terms), Family.PRODUCT, order, terms)


def _sum(terms: Sequence[tuple[float, Base]]) -> str:
    """``2 LO − carrier``."""
    words = ""
    for times, base in terms:
        count = "" if abs(times) == 1 else f"{abs(times):.0f} "
        join = ("− " if times < 0 else "+ ") if words else ("−" if times < 0 else "")
        words += f"{' ' if words else ''}{join}{count}{base.label}"
    return words


def _own_spurs(
    clock_hz: float | None, correction: Correction, low_hz: float, high_hz: float
) -> Iterator[Product]:
    """Multiples of the dongle's clock, and of half of it: they read what they would on a perfect
    clock, whatever its error."""
    if not clock_hz:
        return
    converter = correction.converter
    ends = sorted(hz if converter is None else converter.behind(hz) for hz in (low_hz, high_hz))
    half_hz = clock_hz / 2.0
    for times in range(max(1, ceil(ends[0] / half_hz) - 1), floor(ends[1] / half_hz) + 2):
        heard_hz = times * half_hz
        at_hz = heard_hz if converter is None else converter.ahead(heard_hz)
        whole = times % 2 == 0
        count, unit_hz = (times // 2, clock_hz) if whole else (times, half_hz)
        yield Product(
            name=f"{count} × {format_frequency(unit_hz)} of the dongle's clock",
            family=Family.OWN_SPUR,
            order=times,
            expected_hz=correction.apply(at_hz, 0.0).value_hz,
            limit_hz=heard_hz * _TUNER_PPM * 1e-6,
            own=True,
        )


def _references(name: str) -> Iterator[Product]:
    kind = KINDS[name]
    carriers_hz = dict(kind.channels)
    if name in _RASTERS_HZ:
        first_hz, last_hz, step_hz = _RASTERS_HZ[name]
        count = round((last_hz - first_hz) / step_hz) + 1
        raster_hz = [first_hz + number * step_hz for number in range(count)]
        carriers_hz = {format_frequency(hz): hz for hz in raster_hz}
    for channel, hz in carriers_hz.items():
        yield Product(
            name=f"{name} {channel}",
            family=Family.REFERENCE,
            order=1,
            expected_hz=hz,
            limit_hz=kind.limit(hz),
        )
