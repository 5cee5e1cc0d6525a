"""What a bench scene says: the dongle, and what emits on the bench.

The suffix of a key is the unit of a bare number; keys in ``_hz`` and ``_s`` also take a text with
a unit of its own, such as ``"83.6M"`` or ``"4min"``.
"""

from enum import Enum
from itertools import pairwise
from typing import Annotated

from pydantic import Field, model_validator

from sniff.checked_toml import Hertz, Seconds, Table
from sniff.sources.bench.grid import SEEDS

PositiveHertz = Annotated[Hertz, Field(gt=0)]
PositiveSeconds = Annotated[Seconds, Field(gt=0)]
Moment = Annotated[Seconds, Field(ge=0)]
Decibels = Annotated[float, Field(ge=-250, le=250)]
Ppm = Annotated[float, Field(ge=-500, le=500)]


class TunerKind(str, Enum):
    """How the tuner brings a signal to the converter."""

    LOW_IF = "low-if"
    ZERO_IF = "zero-if"


class IfAmplifier(str, Enum):
    """Whether the amplifier behind the tuner's filter stays put or follows the level."""

    FROZEN = "frozen"
    AUTOMATIC = "automatic"


class Dongle(Table):
    """The instrument itself."""

    error_ppm: Ppm = 0.0
    """How fast its crystal runs when warm; positive is fast."""
    warm_up_ppm: Ppm = 0.0
    """How much faster it runs in the moment it is switched on."""
    warm_up_s: PositiveSeconds = 120.0
    """Time constant of its warming up."""
    tuner: TunerKind = TunerKind.LOW_IF
    """``low-if`` (with an RF image above) or ``zero-if`` (with a mirror of I and Q)."""
    image_rejection_db: Decibels = 45.0
    """How much weaker a low-IF tuner hears what is twice its IF above."""
    mirror_rejection_db: Decibels = 38.0
    """How much weaker a zero-IF tuner shows the mirror of a signal about its centre."""
    if_amplifier: IfAmplifier = IfAmplifier.FROZEN
    """``frozen``, or ``automatic``: then levels lie."""
    target_dbfs: Decibels = -12.0
    """Level at which the automatic IF amplifier, or the automatic gain at a tuning, aims."""
    loop_s: PositiveSeconds = 0.15
    """Time constant of the automatic IF amplifier."""
    reference_gain_db: Decibels = 40.2
    """Tuner gain at which all levels of the scene are stated."""
    noise_dbfs_per_hz: Decibels = -100.0
    """Noise from before the gain, at the reference gain; it rises and falls with the gain."""
    late_noise_dbfs_per_hz: Decibels = -125.0
    """Noise from behind the tuner's gain, which does not."""
    phase_noise_dbc_per_hz: Decibels = -98.0
    """Phase noise of the tuner's LO at 10 kHz from it."""
    loop_bandwidth_hz: Annotated[Hertz, Field(ge=10e3, le=1e6)] = 30e3
    """Loop of the tuner's synthesiser: its phase noise is flat within it and falls beyond."""
    spur_dbfs: Decibels = -75.0
    """Level of its own spurs, at multiples of 28.8 MHz."""
    half_spur_dbfs: Decibels = -90.0
    """Level of its weaker own spurs, at odd multiples of 14.4 MHz."""
    dc_i_lsb: Annotated[float, Field(ge=-20, le=20)] = 0.35
    """Offset of I, steps of the converter."""
    dc_q_lsb: Annotated[float, Field(ge=-20, le=20)] = -0.2
    """Offset of Q, steps of the converter."""
    settle_s: Moment = 0.015
    """What is thrown away after each change of frequency or gain, until the tuner has settled."""


class Line(Table):
    """One multiple of an oscillator that reaches the antenna."""

    times: Annotated[int, Field(ge=1, le=1000)] = 1
    """Which multiple of the oscillator."""
    level_dbfs: Decibels
    """Level at the dongle's reference gain."""


class StartUp(Table):
    """How an oscillator starts and stops."""

    rise_s: PositiveSeconds = 0.4e-3
    """Time constant of its amplitude when it gets its supply."""
    fall_s: PositiveSeconds = 0.1e-3
    """Time constant of its amplitude when it loses it."""
    ppm: Ppm = 0.0
    """How far off it starts."""
    settle_s: PositiveSeconds = 3e-3
    """Time constant with which it comes to its frequency."""


class Break(Table):
    """A written-out interruption."""

    at_s: Moment
    """When it begins."""
    for_s: PositiveSeconds
    """How long it lasts."""


class Joint(Table):
    """A cracked joint in the oscillator's supply: makes and breaks by chance, or by script."""

    connected_s: PositiveSeconds | None = None
    """Mean time it holds; each time is exponentially distributed."""
    open_s: PositiveSeconds | None = None
    """Mean time it is open; exponentially distributed too."""
    breaks: tuple[Break, ...] = ()
    """The script, in place of chance."""
    bounce_s: Moment = 0.0
    """How long the contact chatters at each make and break."""
    bounces: Annotated[int, Field(ge=0, le=50)] = 3
    """How often it opens and closes again within that time."""

    @model_validator(mode="after")
    def _chance_or_script(self) -> "Joint":
        by_chance = self.connected_s is not None and self.open_s is not None
        half_said = (self.connected_s is None) != (self.open_s is None)
        if half_said or by_chance == bool(self.breaks):
            raise ValueError("a joint needs either connected_s and open_s, or breaks")
        if any(a.at_s + a.for_s >= b.at_s for a, b in pairwise(self.breaks)):
            raise ValueError("breaks must follow each other and not touch")
        return self


class Keying(Table):
    """Keyed on and off at even intervals."""

    first_s: Moment = 0.0
    """When it is keyed first; it is off before."""
    on_s: PositiveSeconds
    """Length of a mark."""
    off_s: PositiveSeconds
    """Length of a space."""


class Place(Table):
    """Where the hand is at a moment; it moves evenly from one place to the next."""

    at_s: Moment
    """The moment."""
    mm: Annotated[float, Field(gt=0, le=1000)]
    """Distance from the oscillator's hot end."""


class Hand(Table):
    """A hand that comes near: its capacitance pulls the frequency, then its loss damps."""

    course: Annotated[tuple[Place, ...], Field(min_length=3)]
    """Where the hand is; it begins and ends at its farthest, where it counts as gone."""
    every_s: PositiveSeconds | None = None
    """Time after which the course begins again."""
    pull_hz: Hertz
    """Pull of the oscillator, before multiplication, when it touches; negative is downwards.
    It grows as 1 / distance, as the capacitance does."""
    damp_db: Annotated[float, Field(ge=0, le=250)]
    """Loss of level when it touches; it grows as 1 / distance³, so it comes last."""
    touch_mm: Annotated[float, Field(gt=0)] = 2.0
    """Distance at which the two above are stated."""

    @model_validator(mode="after")
    def _there_and_back(self) -> "Hand":
        distances = [place.mm for place in self.course]
        if any(b.at_s <= a.at_s for a, b in pairwise(self.course)):
            raise ValueError("the places of a course must be in order of time")
        if not distances[0] == distances[-1] == max(distances) > self.touch_mm:
            raise ValueError("a course must begin and end at its largest distance")
        if min(distances) < self.touch_mm:
            raise ValueError("a course must not come nearer than touch_mm")
        if self.every_s is not None and self.every_s < self.course[-1].at_s:
            raise ValueError("every_s must not be shorter than the course")
        return self


class Tone(Table):
    """A tone that modulates the frequency; a pilot tone is one as well."""

    audio_hz: PositiveHertz
    """Frequency of the tone."""
    deviation_hz: PositiveHertz
    """Peak deviation of the oscillator by this tone."""


class Modulation(Table):
    """What the oscillator's frequency and level carry."""

    tones: tuple[Tone, ...] = ()
    """Steady tones, frequency-modulated."""
    speech_deviation_hz: Annotated[Hertz, Field(ge=0)] = 0.0
    """About the peak deviation by a sound like speech."""
    hum_percent: Annotated[float, Field(ge=0, le=100)] = 0.0
    """Depth of amplitude modulation by the mains."""
    hum_hz: Annotated[Hertz, Field(gt=0, le=500)] = 100.0
    """Frequency of that hum."""


class Emitter(Table):
    """An oscillator and the lines that come of it."""

    name: str
    """What it is."""
    oscillator_hz: PositiveHertz
    """Nominal frequency of the oscillator, before multiplication."""
    lines: Annotated[tuple[Line, ...], Field(min_length=1)]
    """What of it reaches the antenna."""
    off_ppm: Ppm = 0.0
    """How far off it is when warm."""
    warm_up_ppm: Ppm = 0.0
    """How much farther off it is in the moment it is switched on."""
    warm_up_s: PositiveSeconds = 120.0
    """Time constant of its warming up."""
    wander_ppm: Annotated[float, Field(ge=0, le=500)] = 0.0
    """Standard deviation of its slow wander."""
    wander_s: PositiveSeconds = 20.0
    """Middle of the periods that its wander is made of."""
    start_up: StartUp = StartUp()
    joint: Joint | None = None
    keying: Keying | None = None
    hand: Hand | None = None
    modulation: Modulation = Modulation()

    @model_validator(mode="after")
    def _one_contact(self) -> "Emitter":
        if self.joint is not None and self.keying is not None:
            raise ValueError("an emitter has a joint or is keyed, not both")
        return self


class Heard(Table):
    """How much louder, or weaker, the loop hears an emitter at a place."""

    emitter: str
    """Name of the emitter."""
    times: Annotated[int, Field(ge=1, le=1000)] | None = None
    """Which multiple alone; all lines of the emitter when left out. Both add up."""
    by_db: Decibels
    """By how much louder than the line's own level says; negative is weaker."""


class LoopPlace(Table):
    """A place on the board where the loop can be held."""

    name: Annotated[str, Field(min_length=1)]
    """What it is called."""
    heard: tuple[Heard, ...] = ()
    """What is louder or weaker there."""

    @model_validator(mode="after")
    def _once_each(self) -> "LoopPlace":
        heard = [(each.emitter, each.times) for each in self.heard]
        if len(set(heard)) < len(heard):
            raise ValueError("a place names an emitter, or a multiple of it, once")
        return self


class Scene(Table):
    """A bench scene."""

    title: str
    """What is on the bench, in a few words."""
    seed: Annotated[int, Field(ge=0, lt=SEEDS)] = 1
    """Where its random numbers begin, unless the caller says otherwise."""
    rate_hz: PositiveHertz
    """Sample rate unless the caller says otherwise."""
    center_hz: PositiveHertz
    """Centre unless the caller says otherwise."""
    gain_db: Decibels | None = None
    """Tuner gain unless the caller says otherwise; automatic when left out."""
    dongle: Dongle = Dongle()
    emitters: tuple[Emitter, ...] = ()
    placing_spread_db: Annotated[float, Field(ge=0, le=30)] = 0.0
    """Standard deviation by which each line's level moves when the loop is placed again."""
    places: tuple[LoopPlace, ...] = ()
    """Where the loop can be held; unless it is placed, all levels are those of the emitters."""

    @model_validator(mode="after")
    def _places_hear_what_is_there(self) -> "Scene":
        lines = {(emitter.name, line.times) for emitter in self.emitters for line in emitter.lines}
        emitters = {name for name, _ in lines}
        for place in self.places:
            for each in place.heard:
                if each.emitter not in emitters:
                    raise ValueError(f"place {place.name!r} hears no emitter {each.emitter!r}")
                if each.times is not None and (each.emitter, each.times) not in lines:
                    raise ValueError(f"{each.emitter!r} has no line of times = {each.times}")
        names = [" ".join(place.name.casefold().split()) for place in self.places]
        if len(set(names)) < len(names):
            raise ValueError("two places have one name")
        return self
