"""Naming: what a line that was seen may be, the most plausible first.

The rule of plausibility: an explanation is one of a family of candidates (the set's oscillators,
its mixing products of one order ...). Were lines strewn at random over the span, one of the
family's n candidates would have a given line within its window of width w by chance in
``n w / span`` of all cases (for carriers on a raster: of those lines that lie within it). The
smaller that chance, the more plausible the explanation; above `MOST_CHANCE` it explains nothing.

An oscillator that was itself seen stands in for its nominal value: its multiples and products then
need no tolerance, and the clock's error, common to all, cancels.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import floor, hypot

from calib.correction import Correction
from sniff.look import SeenLine
from sniff.naming.families import Base, Family, Product, families
from sniff.superhet.expected import Expected, expected_lines
from sniff.superhet.plan import Plan, Role

MOST_CHANCE = 0.1
"""From this chance of coincidence on, an explanation is none."""

MIXING_ORDER = 5
"""Order up to which mixing products are tried, unless said."""

OFF_TOLERANCES = 10.0
"""An oscillator so many tolerances off its place may still be it: a tired crystal."""

DRIFT_PPM = 1.0
"""How far an oscillator may move between two readings of one sweep (common practice, no source)."""

_MOST_NAMES = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Explanation:
    """What a line may be.

    Attributes
    ----------
    name : str
        ``LO``, ``LO × 2``, ``2 LO − carrier``, ``2 × 28.8 MHz of the dongle``.
    family : Family
    order : int
        Of a mixing product; multiple of a harmonic; else 1.
    expected_hz : float
        Where it should be, Hz.
    error_hz : float
        The line's reading minus that.
    window_hz : float
        Half-width within which it counts, Hz: tolerance and expanded uncertainty.
    chance : float
        Of a coincidence, as the module says.
    likely : bool
        True when that is small enough to explain the line.
    off : bool
        True for an oscillator outside its tolerance.
    """

    name: str
    family: Family
    order: int
    expected_hz: float
    error_hz: float
    window_hz: float
    chance: float
    likely: bool
    off: bool = False


def explain_lines(
    lines: Sequence[SeenLine],
    *,
    low_hz: float,
    high_hz: float,
    correction: Correction,
    plan: Plan | None = None,
    clock_hz: float | None = None,
    mixing_order: int = MIXING_ORDER,
) -> tuple[tuple[Explanation, ...], ...]:
    """What each line may be.

    Parameters
    ----------
    lines : sequence of SeenLine
    low_hz, high_hz : float
        Span in which lines were sought, true frequencies, Hz.
    correction : Correction
        The one that was applied to the lines.
    plan : Plan, optional
        Of the set; without it only the dongle and known references explain.
    clock_hz : float, optional
        The instrument's clock, whose multiples it may emit.
    mixing_order : int
        Highest order of a mixing product, 2 or more.

    Returns
    -------
    tuple of tuple of Explanation
        For each line the most plausible four, by chance, then by family, then by order.
    """
    frame = _Frame(low_hz=low_hz, high_hz=high_hz, correction=correction)
    bases = _bases(lines, plan, frame)
    groups = families(
        plan,
        bases,
        low_hz=low_hz,
        high_hz=high_hz,
        correction=correction,
        clock_hz=clock_hz,
        mixing_order=mixing_order,
    )
    dense = [(group, _density(group, high_hz - low_hz)) for group in groups]
    return tuple(_explain(line, dense, frame) for line in lines)


def _density(group: Sequence[Product], span_hz: float) -> float:
    """Candidates per hertz, by the module's rule."""
    if group[0].family is Family.REFERENCE and len(group) > 1:
        places_hz = [product.expected_hz for product in group]
        return (len(group) - 1) / (max(places_hz) - min(places_hz))
    return len(group) / max(span_hz, 1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Frame:
    low_hz: float
    high_hz: float
    correction: Correction

    def half_width_hz(self, line: SeenLine, product: Product) -> float:
        """Tolerances and drift as they stand, plus U of the difference."""
        measured = [(times, base) for times, base in product.terms if base.measured]
        limit_hz = product.limit_hz + sum(
            abs(times) * base.hz * DRIFT_PPM * 1e-6 for times, base in measured
        )
        spread = [times * base.u_hz for times, base in measured]
        if product.own:
            # The dongle's own lines follow its clock: on its own scale they are exact.
            return limit_hz + 2.0 * line.u_indicated_hz
        # Of the clock's error what the measured oscillators do not share with the line.
        heard_hz = self._heard(line.frequency_hz) - sum(
            times * self._heard(base.hz) for times, base in measured
        )
        clock_hz = heard_hz * self.correction.u_ppm * 1e-6
        converter = self.correction.converter
        u_converter_hz = 0.0 if converter is None else converter.u_hz
        u_hz = hypot(line.u_indicated_hz, clock_hz, u_converter_hz, *spread)
        return limit_hz + 2.0 * u_hz

    def _heard(self, hz: float) -> float:
        converter = self.correction.converter
        return hz if converter is None else converter.behind(hz)


def _explain(
    line: SeenLine, groups: Sequence[tuple[Sequence[Product], float]], frame: _Frame
) -> tuple[Explanation, ...]:
    found = [
        explanation
        for group, per_hz in groups
        for product in group
        for explanation in _matched(line, product, per_hz, frame)
    ]
    order = list(Family)
    found.sort(key=lambda e: (e.off, e.chance, order.index(e.family), e.order))
    return tuple({explanation.name: explanation for explanation in found}.values())[:_MOST_NAMES]


def _matched(
    line: SeenLine, product: Product, per_hz: float, frame: _Frame
) -> Iterable[Explanation]:
    error_hz = line.frequency_hz - product.expected_hz
    half_hz = frame.half_width_hz(line, product)
    off = abs(error_hz) > half_hz
    if off:
        if not product.family.may_be_off:
            return
        half_hz += (OFF_TOLERANCES - 1.0) * product.limit_hz
    if abs(error_hz) > half_hz:
        return
    chance = min(1.0, per_hz * 2.0 * half_hz)
    yield Explanation(
        name=product.name,
        family=product.family,
        order=product.order,
        expected_hz=product.expected_hz,
        error_hz=error_hz,
        window_hz=half_hz,
        chance=chance,
        likely=chance <= MOST_CHANCE,
        off=off,
    )


def _bases(lines: Sequence[SeenLine], plan: Plan | None, frame: _Frame) -> dict[Role, Base]:
    """The set's independent oscillators: as seen where one was, else as planned."""
    if plan is None:
        return {}
    expected = expected_lines(plan)
    driven = Role.CARRIER if plan.if_hz is None else Role.LO
    chains = {
        driven: (plan.driven_hz, {driven, Role.CRYSTAL, Role.CRYSTAL_HARMONIC}),
        Role.SECOND_LO: (plan.second_lo_hz, {Role.SECOND_LO, Role.SECOND_LO_HARMONIC}),
    }
    if plan.if_hz is not None:  # what a receiver hears is an oscillator too, a distant one
        chains[Role.CARRIER] = (plan.carrier_hz, {Role.CARRIER})
    return {
        role: _base(role, hz, [line for line in expected if line.role in members], lines, frame)
        for role, (hz, members) in chains.items()
        if hz is not None
    }


def _base(
    role: Role,
    hz: float,
    members: Sequence[Expected],
    lines: Sequence[SeenLine],
    frame: _Frame,
) -> Base:
    """One oscillator, by the member of its chain that was read best, relative to its frequency."""
    own = next(line for line in members if line.role is role)
    nominal = Base(role=role, hz=hz, u_hz=0.0, limit_hz=own.tolerance_hz, measured=False)
    inside = sum(frame.low_hz <= member.expected_hz <= frame.high_hz for member in members)
    per_hz = max(1, inside) / max(frame.high_hz - frame.low_hz, 1.0)
    found: list[tuple[bool, float, float]] = []
    for member in members:
        product = Product.planned(member)
        seen = [
            (explanation.off, -line.level_dbfs, line)
            for line in lines
            for explanation in _matched(line, product, per_hz, frame)
            if explanation.likely
        ]
        if seen:
            off, _, line = min(seen, key=lambda entry: entry[:2])
            times = hz / member.expected_hz
            found.append((off, line.u_indicated_hz * times, line.frequency_hz * times))
    if not found:
        return nominal
    _, u_hz, value_hz = min(found)
    return Base(role=role, hz=value_hz, u_hz=u_hz, limit_hz=0.0, measured=True)


def names_in_words(explanations: Sequence[Explanation]) -> str:
    """``LO × 2 or 3 LO − carrier``; what is no more than a coincidence with a question mark."""
    likely = [_in_words(explanation) for explanation in explanations if explanation.likely]
    if likely or not explanations:
        return " or ".join(likely[:2])
    return f"{explanations[0].name}? ({100.0 * explanations[0].chance:.0f} % by chance)"


def _in_words(explanation: Explanation) -> str:
    if explanation.family is Family.REFERENCE:
        return f"may be {explanation.name}"
    if explanation.off:
        ppm = explanation.error_hz / explanation.expected_hz * 1e6
        return f"{explanation.name}, {floor(abs(ppm) + 0.5)} ppm {'high' if ppm > 0 else 'low'}"
    return explanation.name
