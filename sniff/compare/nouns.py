"""What a comparison is made from, and what it comes to."""

from dataclasses import dataclass
from enum import Enum

from calib.correction import Correction
from sniff.board import BoardResult
from sniff.look import Look
from sniff.model import Caution
from sniff.placings import PlacingSpread
from sniff.strength import gain_step_db
from sniff.superhet.plan import Plan


class Likeness(str, Enum):
    """What may be said of one line of two sets.

    ``in-both`` alike as far as can be told; ``weak``, ``strong``, ``moved``, ``unsteady`` the
    suspect's against the good one's; ``only-good``, ``only-suspect`` though the other would have
    shown it; ``neither`` seen in none; ``hidden`` where one of them could not have shown it.
    """

    IN_BOTH = "in-both"
    WEAK = "weak"
    STRONG = "strong"
    MOVED = "moved"
    UNSTEADY = "unsteady"
    ONLY_GOOD = "only-good"
    ONLY_SUSPECT = "only-suspect"
    NEITHER = "neither"
    HIDDEN = "hidden"


class Origin(str, Enum):
    """How a line behaves from one carrier to the other.

    ``carrier`` it moves with the carrier; ``fixed`` it belongs to the sets and stays; ``room`` a
    known transmitter; ``stays`` the same in both, of both sets or of the room; ``unknown``.
    """

    CARRIER = "carrier"
    FIXED = "fixed"
    ROOM = "room"
    STAYS = "stays"
    UNKNOWN = "unknown"


class ComparisonVerdict(str, Enum):
    """What may be said of all lines together."""

    ALIKE = "alike"
    DIFFERS = "differs"
    UNDECIDED = "undecided"


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparedLine:
    """One line of two sets; a number that is not known is None, with the reason in `why`.

    Attributes
    ----------
    name : str or None
        By the plan, or by what explains it; None for a line that nothing explains.
    place : str or None
        Where on the board; None when the loop had no named place.
    origin : Origin
    planned, wanted : bool
        Whether the plan lists it, and whether its absence is a fault.
    good_hz, suspect_hz : float or None
        Readings, Hz.
    u_good_hz, u_suspect_hz : float or None
        Their standard uncertainties (k = 1), the clock's included, Hz.
    expected_good_hz, expected_suspect_hz : float or None
        Where the plan, or the other set's line moved with the carrier, has it, Hz.
    shift_ppm, u_shift_ppm : float or None
        By how much the suspect's lies higher than the good one's would, relative, and the
        standard uncertainty (k = 1) of that; what the two clocks share is not in it.
    good_dbfs, suspect_dbfs : float or None
    would_see_good_dbfs, would_see_suspect_dbfs : float or None
        Level at which it would have been seen with 95 % probability.
    difference_db, u_difference_db : float or None
        Suspect minus good, at one and the same gain of the tuner, and the standard uncertainty
        (k = 1) of that: the placing of the loop.
    expanded_difference_db : float or None
        Its expanded uncertainty for 95.45 %: k = 2, or more where the spread was measured by few
        placings.
    difference_bound_db : float or None
        Of a line that one set lacks, or shows in some placings only: suspect minus good is less
        than this (97.7 %) where the good set has it, more where the suspect has it alone.
    state : Likeness
    why : str
    """

    name: str | None
    place: str | None = None
    origin: Origin
    planned: bool
    wanted: bool
    good_hz: float | None = None
    suspect_hz: float | None = None
    u_good_hz: float | None = None
    u_suspect_hz: float | None = None
    expected_good_hz: float | None = None
    expected_suspect_hz: float | None = None
    shift_ppm: float | None = None
    u_shift_ppm: float | None = None
    good_dbfs: float | None = None
    suspect_dbfs: float | None = None
    would_see_good_dbfs: float | None = None
    would_see_suspect_dbfs: float | None = None
    difference_db: float | None = None
    u_difference_db: float | None = None
    expanded_difference_db: float | None = None
    difference_bound_db: float | None = None
    state: Likeness
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceComparison:
    """What was found at one place on the board.

    Attributes
    ----------
    place : str or None
    verdict : ComparisonVerdict
    sentence : str
        What a technician would say.
    good_placings, suspect_placings : int
        How often the loop was placed.
    u_difference_db : float
        Standard uncertainty (k = 1) of a difference of levels by the placing of the loop.
    expanded_difference_db : float
        The expanded uncertainty of that, 95.45 %.
    degrees : int or None
        Of freedom of that, when it was measured by placing the loop again; None when it was stated.
    weak_below_db : float
        A line weaker by more than this is told as weak (a positive number).
    would_tell_db : float
        A line weaker by this much would have been told as weak with 95 % probability.
    """

    place: str | None
    verdict: ComparisonVerdict
    sentence: str
    good_placings: int
    suspect_placings: int
    u_difference_db: float
    expanded_difference_db: float
    degrees: int | None
    weak_below_db: float
    would_tell_db: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparisonResult:
    """The answer, field by field what ``--json`` prints.

    Attributes
    ----------
    verdict : ComparisonVerdict
    sentence : str
    good, suspect : str
        The two sources as the user named them.
    good_carrier_hz, suspect_carrier_hz, shift_hz : float or None
        The carriers, and how far the second lies above the first, Hz.
    agree_ppm : float
        Two sets whose lines differ by no more than this agree in frequency.
    one_clock : bool
        Whether one clock measured both, so that its error falls out of differences.
    false_alarm_rate : float
        Chance that levels alone make any line of two equal sets "weak".
    places : tuple of PlaceComparison
        One for each place, or a single one without a name.
    lines : tuple of ComparedLine
        Those of the plan in its order, then the others, strongest first; place by place.
    """

    verdict: ComparisonVerdict
    sentence: str
    good: str
    suspect: str
    good_carrier_hz: float | None
    suspect_carrier_hz: float | None
    shift_hz: float | None
    agree_ppm: float
    one_clock: bool
    false_alarm_rate: float
    places: tuple[PlaceComparison, ...]
    lines: tuple[ComparedLine, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sight:
    """What one set shows at one place.

    Attributes
    ----------
    source : str
        As the user named it.
    plan : Plan or None
        Its own, on its own carrier.
    carrier_hz : float or None
    board : BoardResult or None
        The plan's lines as they were found, over all placings of the loop; None without a plan.
    looks : tuple of Look
        What else was in view.
    correction : Correction
    serial : str or None
        Of the dongle.
    clock_hz : float or None
        Whose multiples the instrument may emit, Hz.
    usable_fraction : float
        Part of each look, about its centre, in which levels can be trusted.
    placings : int
    gain_db : float or None
        Of the tuner; None when that is not known.
    overloaded : bool
        Whether the front end was overloaded in any placing, so that levels are wrong.
    """

    source: str
    plan: Plan | None
    carrier_hz: float | None
    board: BoardResult | None
    looks: tuple[Look, ...]
    correction: Correction
    serial: str | None = None
    clock_hz: float | None = 28.8e6
    usable_fraction: float = 0.8
    placings: int = 1
    gain_db: float | None = None
    overloaded: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pair:
    """Both sets at one place.

    Attributes
    ----------
    place : str or None
    good, suspect : Sight
    spread : PlacingSpread or None
        Of one placing of the loop, as measured at this place; None when it was placed once.
    """

    place: str | None
    good: Sight
    suspect: Sight
    spread: PlacingSpread | None = None

    @property
    def gain_step_db(self) -> float:
        """By how much the suspect was heard with more gain; 0 where that is not known."""
        return gain_step_db(self.suspect.gain_db, self.good.gain_db) or 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Comparison:
    """A comparison with all that its picture needs."""

    result: ComparisonResult
    pairs: tuple[Pair, ...]
    cautions: tuple[Caution, ...] = ()
