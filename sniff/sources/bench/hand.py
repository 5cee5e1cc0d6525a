"""A hand near an oscillator: what its capacitance pulls and what its loss damps."""

import numpy as np
import numpy.typing as npt

from sniff.model import Doubles
from sniff.sources.bench import schema


class Hand:
    """A hand on its course, as a function of time alone."""

    def __init__(self, hand: schema.Hand) -> None:
        self._at_s = np.array([place.at_s for place in hand.course])
        self._mm = np.array([place.mm for place in hand.course])
        self._speed = np.diff(self._mm) / np.diff(self._at_s)
        self._every_s = hand.every_s
        self._pull_hz = hand.pull_hz
        self._damp_db = hand.damp_db
        self._touch_mm = hand.touch_mm
        lengths_s = np.diff(self._at_s)
        pieces = self._piece_cycles(np.arange(lengths_s.size), lengths_s)
        self._cycles = np.concatenate([[0.0], np.cumsum(pieces)])

    def pull(self, true_s: Doubles) -> tuple[Doubles, Doubles]:
        """Cycles gained since the beginning, and present pull in Hz, both of the oscillator."""
        rounds, inside_s = self._place_in_course(true_s)
        piece = self._piece(inside_s)
        cycles = self._cycles[piece] + self._piece_cycles(piece, inside_s - self._at_s[piece])
        whole = rounds * self._cycles[-1]
        return whole + cycles, self._pull_hz * self._nearness(self._distance_mm(inside_s), 1)

    def loss_db(self, true_s: Doubles) -> Doubles:
        """Loss of level, dB."""
        _, inside_s = self._place_in_course(true_s)
        return np.asarray(self._damp_db * self._nearness(self._distance_mm(inside_s), 3))

    def _place_in_course(self, true_s: Doubles) -> tuple[Doubles, Doubles]:
        """How often the course has been gone through, and the time in it, kept within it."""
        rounds = np.zeros_like(true_s)
        if self._every_s is not None:
            rounds, true_s = np.divmod(true_s, self._every_s)
        return rounds, np.clip(true_s, self._at_s[0], self._at_s[-1])

    def _piece(self, inside_s: Doubles) -> npt.NDArray[np.intp]:
        piece = np.searchsorted(self._at_s, inside_s, side="right") - 1
        return np.asarray(np.minimum(piece, self._speed.size - 1), np.intp)

    def _distance_mm(self, inside_s: Doubles) -> Doubles:
        return np.asarray(np.interp(inside_s, self._at_s, self._mm), np.float64)

    def _nearness(self, mm: Doubles, power: int) -> Doubles:
        """0 where the hand is away, 1 where it touches, growing as 1 / distance**power."""
        away = self._mm[0] ** -power
        return np.asarray((mm**-power - away) / (self._touch_mm**-power - away))

    def _piece_cycles(self, piece: npt.NDArray[np.intp], inside_s: Doubles) -> Doubles:
        """Integral of the pull from the beginning of a piece of the course.

        On an even way ``d = d0 + v t``, hence ``∫ dt / d = ln(1 + v t / d0) / v``.
        """
        start_mm = self._mm[piece]
        grown = self._speed[piece] * inside_s / start_mm
        safe = np.where(grown == 0, 1.0, grown)
        per_mm = inside_s / start_mm * np.where(grown == 0, 1.0, np.log1p(safe) / safe)
        away = 1.0 / self._mm[0]
        nearness_s = (per_mm - inside_s * away) / (1.0 / self._touch_mm - away)
        return np.asarray(self._pull_hz * nearness_s)
