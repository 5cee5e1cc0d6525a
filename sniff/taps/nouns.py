"""A tap test's words: provocations, taps, what came of each, and what it says of a spot."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum


class Provocation(str, Enum):
    """By what a spot is provoked."""

    STICK = "stick"
    FLEX = "flex"
    COLD = "cold"
    WARM = "warm"
    SUPPLY = "supply"
    HAND = "hand"


IN_WORDS: Mapping[Provocation, str] = {
    Provocation.STICK: "insulated stick",
    Provocation.FLEX: "flexing",
    Provocation.COLD: "cold spray",
    Provocation.WARM: "warm air",
    Provocation.SUPPLY: "supply varied",
    Provocation.HAND: "hand",
}

THERMAL = frozenset({Provocation.COLD, Provocation.WARM})

WHY_NO_HAND = (
    "a hand's capacitance and loss pull, and stop, a healthy oscillator too: touch the spot with "
    "an insulated stick"
)
"""Why a drop-out under a hand is never evidence by itself."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Windows:
    """How long after a tap a drop-out counts as its answer, s.

    The default values are common practice, no source: a contact answers a shock at once and a
    bent board while it is bent; what is cooled or heated takes a minute or two.

    Attributes
    ----------
    reaction_s : float
        How late a key may be pressed: a drop-out so long before the tap counts too.
    touch_s : float
        After the stick, flexing or the hand.
    supply_s : float
        After the supply was varied.
    thermal_s : float
        After cold spray or warm air.
    """

    reaction_s: float = 0.3
    touch_s: float = 1.0
    supply_s: float = 5.0
    thermal_s: float = 90.0

    def __post_init__(self) -> None:
        if self.reaction_s < 0 or min(self.touch_s, self.supply_s, self.thermal_s) <= 0:
            raise ValueError(f"{self} has a window that is no length of time")

    def after_s(self, by: Provocation) -> float:
        """How long after the tap."""
        if by in THERMAL:
            return self.thermal_s
        return self.supply_s if by is Provocation.SUPPLY else self.touch_s

    def length_s(self, by: Provocation) -> float:
        """From the earliest to the latest answer."""
        return self.reaction_s + self.after_s(by)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tap:
    """One provocation of one spot.

    Attributes
    ----------
    at_s : float
        When, s since the source was opened.
    spot : str
        Where, in the technician's words.
    by : Provocation
    """

    at_s: float
    spot: str
    by: Provocation


@dataclass(frozen=True, slots=True, kw_only=True)
class Stroke:
    """A tap, and what came of it.

    Attributes
    ----------
    tap : Tap
    from_s, to_s : float
        In which time a drop-out counted as its answer: to the next tap at most.
    answered : bool or None
        Whether a drop-out began then; None when the tap does not count.
    why_not_counted : str or None
    dropouts : int
        How many began then, pulls left out.
    pulls : int
        How many of kind ``pull`` began then: detuned by something near, not broken.
    after_s : float or None
        From the tap to the first drop-out, s; negative when the key came late.
    drift_hz, drift_db : float or None
        Largest change of frequency and of level in that time, against the time before; of cold
        and heat only.
    """

    tap: Tap
    from_s: float
    to_s: float
    answered: bool | None
    why_not_counted: str | None
    dropouts: int
    pulls: int
    after_s: float | None
    drift_hz: float | None
    drift_db: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Tally:
    """How often something was provoked, and how often it answered."""

    answered: int
    taps: int

    def __post_init__(self) -> None:
        if not 0 <= self.answered <= self.taps:
            raise ValueError(f"{self.answered=} of {self.taps=}")


class Control(str, Enum):
    """With what a spot is compared."""

    SIBLING = "sibling"
    UNTOUCHED = "untouched"


class SpotVerdict(str, Enum):
    """What a tap test says of one spot."""

    REACTS = "reacts"
    NOT_SHOWN = "not-shown"
    TOO_FEW = "too-few"
    NO_CONTROL = "no-control"
    NO_EVIDENCE = "no-evidence"


@dataclass(frozen=True, slots=True, kw_only=True)
class SpotResult:
    """What a tap test says of one spot under one provocation.

    Attributes
    ----------
    spot, by : str, Provocation
    taps, answered : int
        Taps that count, and after how many of them the line dropped out.
    not_counted : int
        Taps that do not count: `Stroke.why_not_counted`.
    dropouts, pulls : int
        Drop-outs in all after them, and how many more were pulls.
    fraction_low, fraction_high : float
        Clopper-Pearson interval of the part that answers, at 95 %.
    control : Control or None
    control_taps, control_answered : int
        What it is compared with.
    p : float or None
        Fisher's exact test, one-sided: the chance of as many answers or more, were the spot no
        different from the control.
    p_adjusted : float or None
        By Holm's method for all spots tested: the chance that any one of them shows this by luck.
    drift_hz, drift_db : float or None
        Median of the strokes' drifts.
    verdict : SpotVerdict
    why : str
    """

    spot: str
    by: Provocation
    taps: int
    answered: int
    not_counted: int
    dropouts: int
    pulls: int
    fraction_low: float
    fraction_high: float
    control: Control | None
    control_taps: int
    control_answered: int
    p: float | None
    p_adjusted: float | None
    drift_hz: float | None
    drift_db: float | None
    verdict: SpotVerdict
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TapResult:
    """The whole tap test, field by field what ``--json`` prints under ``taps``.

    Attributes
    ----------
    spots : tuple of SpotResult
        Most suspect first.
    strokes : tuple of Stroke
        In order of time.
    tested : int
        Spots that took part in the test: for so many its p was adjusted.
    confidence : float
    says : str
        The whole in a sentence or two.
    """

    spots: tuple[SpotResult, ...]
    strokes: tuple[Stroke, ...]
    tested: int
    confidence: float
    says: str
