"""Listening to one hop: its blocks pass on as they came, and are measured on the way."""

from collections.abc import Callable, Iterator

from sniff.errors import SourceError, UsageError
from sniff.frontend import RailCount
from sniff.model import IQBlock
from sniff.spectrum import Welch
from sniff.sweep.grid import HopSpectrum, grid_bin, hop_of, turned
from sniff.sweep.hops import HopPlan


class HopListener:
    """Measures one hop.

    Parameters
    ----------
    first : IQBlock
        Its first block.
    rest : iterator of IQBlock
        The others.
    plan : HopPlan
    rail : float
        As in `SourceInfo`.
    stopped : callable
        Whether to end at the next block.
    """

    def __init__(
        self,
        first: IQBlock,
        rest: Iterator[IQBlock],
        *,
        plan: HopPlan,
        rail: float,
        stopped: Callable[[], bool],
    ) -> None:
        self._first = first
        self._rest = rest
        self._bin_hz = plan.bin_hz
        self._stopped = stopped
        self._rails = RailCount(rail)
        self._welch = Welch(
            plan.spectrum,
            rate_hz=first.rate_hz,
            center_hz=grid_bin(first.center_hz, plan.bin_hz) * plan.bin_hz,
        )
        self.seconds = 0.0
        self.trouble: SourceError | None = None

    @property
    def overloaded(self) -> bool:
        """Whether the converter was at its rails."""
        return self._rails.overloaded

    def blocks(self) -> Iterator[IQBlock]:
        """The blocks as the source gives them, once; when it fails they end, and `trouble` says
        why: whoever reads them may have to write the rest of a file."""
        heard: list[IQBlock] = []
        for block in turned(self._raw(heard), bin_hz=self._bin_hz):
            self._welch.push(block)
            self._rails.push(heard[0])
            self.seconds += block.samples.size / block.rate_hz
            yield heard[0]

    def spectrum(self) -> HopSpectrum | UsageError:
        """What was heard; or why it is too little for a spectrum."""
        try:
            return hop_of(self._welch.result(), center_hz=self._first.center_hz)
        except UsageError as error:
            return error

    def _raw(self, heard: list[IQBlock]) -> Iterator[IQBlock]:
        block: IQBlock | None = self._first
        while block is not None:
            heard[:] = [block]
            yield block
            if self._stopped():
                return
            try:
                block = next(self._rest, None)
            except SourceError as error:
                self.trouble = error
                return
