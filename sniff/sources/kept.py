"""A live source that keeps what was taken from it as a recording, so that it can be read again."""

from collections.abc import Callable, Iterator

from sniff.errors import BenchError
from sniff.model import IQBlock, Source, SourceInfo, Take
from sniff.sources.recording.live import LiveRecorder

MakeRecorder = Callable[[SourceInfo], LiveRecorder]


class KeptSource:
    """A source whose takes are written to one recording when it is closed; obeys `Source`.

    Each take is a capture at its own centre. What is streamed is not kept: it may have no end.

    Parameters
    ----------
    inner : Source
        Closed with this one.
    recorder : callable
        Makes the recorder, by what the source says of itself in the end.
    tell : callable
        Is told why it could not be kept: what was measured is worth more than its samples.
    """

    def __init__(
        self, inner: Source, recorder: MakeRecorder, *, tell: Callable[[str], None]
    ) -> None:
        self._inner = inner
        self._recorder = recorder
        self._tell = tell
        self._takes: list[Take] = []

    @property
    def inner(self) -> Source:
        """The source that is kept."""
        return self._inner

    @property
    def info(self) -> SourceInfo:
        """As the inner source."""
        return self._inner.info

    def tune(self, center_hz: float) -> float:
        """As the inner source."""
        return self._inner.tune(center_hz)

    def set_gain(self, gain_db: float | None) -> float | None:
        """As the inner source."""
        return self._inner.set_gain(gain_db)

    def stream(self, *, seconds: float | None, start_s: float = 0.0) -> Iterator[IQBlock]:
        """As the inner source; not kept."""
        return self._inner.stream(seconds=seconds, start_s=start_s)

    def take(self, *, seconds: float | None, start_s: float = 0.0) -> Take:
        """As the inner source, and remembered."""
        take = self._inner.take(seconds=seconds, start_s=start_s)
        self._takes.append(take)
        return take

    def close(self) -> None:
        """Write what was taken, and close the inner source, whatever comes of the writing."""
        takes, self._takes = self._takes, []
        try:
            if takes:
                with self._recorder(self._inner.info) as recorder:
                    for take in takes:
                        for block in take.blocks():
                            recorder.write(block)
        except BenchError as error:
            self._tell(str(error))
        finally:
            self._inner.close()
