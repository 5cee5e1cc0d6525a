"""The channel's own samples, as many as memory allows, for what cannot be told from steps."""

import numpy as np

from sniff.model import ComplexSamples, IQBlock
from sniff.modulation.on_times import OnTimes

MOST_KEPT = 2**22
"""Samples: 32 MB. At 48 kHz of channel that is 87 s, at 300 kHz 14 s."""

_WAKES = 4.0  # power over noise, mean of a block, from which on samples are kept


class KeptSamples:
    """Keep a channel's samples from when it first shows more than noise.

    Parameters
    ----------
    noise_power : float
        In the channel, FS².
    most : int
        Samples kept at the most.
    """

    def __init__(self, noise_power: float, *, most: int = MOST_KEPT) -> None:
        self._wake_power = _WAKES * noise_power
        self._left = most
        self._blocks: list[IQBlock] = []
        self._latest: IQBlock | None = None
        self.complete = True
        """False when the take went on after the memory was full."""

    def push(self, block: IQBlock) -> None:
        """Take in the next block."""
        if self._left <= 0:
            self.complete = False
            return
        if not self._blocks:
            # The block before goes with it: the carrier may have begun at its end.
            before, self._latest = self._latest, block
            if float(np.square(np.abs(block.samples)).mean()) < self._wake_power:
                return
            if before is not None and before.end_index == block.index:
                self._keep(before)
        self._keep(block)

    def _keep(self, block: IQBlock) -> None:
        self._blocks.append(block)
        self._left -= block.samples.size

    def forget(self) -> None:
        """Let go of all samples."""
        self._blocks.clear()

    def while_on(self, on: OnTimes) -> list[ComplexSamples]:
        """The samples of each stretch in which the carrier was on, in order of time."""
        starts_s = np.array([block.start_s for block in self._blocks])
        parts: list[ComplexSamples] = []
        for run in on.runs:
            begin_s, end_s = run.start_s, run.start_s + run.seconds
            pieces: list[ComplexSamples] = []
            begin = max(0, int(np.searchsorted(starts_s, begin_s, side="right")) - 1)
            end = int(np.searchsorted(starts_s, end_s))
            for block in self._blocks[begin:end]:
                first = max(0, round((begin_s - block.start_s) * block.rate_hz))
                last = min(block.samples.size, round((end_s - block.start_s) * block.rate_hz))
                if first < last:
                    pieces.append(block.samples[first:last])
            if pieces:
                parts.append(np.concatenate(pieces))
        return parts
