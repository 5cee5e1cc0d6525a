"""What the keys do while a line is watched: marks with a label, and the end."""

from sniff.watch.nouns import Mark

HELP = "space: mark   l: label   q: end"
_ENTER, _ERASE, _ESCAPE = "\r\n", "\x7f\x08", "\x1b"


class Marking:
    """Takes keys as they come.

    Space marks a moment with the present label, ``l`` asks for another label, ``q`` ends.
    """

    def __init__(self) -> None:
        self.marks: list[Mark] = []
        self.label = ""
        self.typing: str | None = None
        """The label as far as it is typed; None while none is."""
        self.ended = False

    def take_in(self, keys: str, *, now_s: float) -> None:
        """Act on some keys."""
        for key in keys:
            if self.typing is not None:
                self._type(key)
            elif key == " ":
                self.marks.append(Mark(at_s=now_s, label=self.label))
            elif key == "l":
                self.typing = ""
            elif key == "q":
                self.ended = True

    @property
    def words(self) -> str:
        """What to show below the strip."""
        if self.typing is not None:
            return f"label: {self.typing}_   (Enter keeps it)"
        label = f"   label: {self.label}" if self.label else ""
        return f"{HELP}{label}   {len(self.marks)} marked"

    def _type(self, key: str) -> None:
        assert self.typing is not None
        if key in _ENTER:
            self.label, self.typing = self.typing.strip(), None
        elif key == _ESCAPE:
            self.typing = None
        elif key in _ERASE:
            self.typing = self.typing[:-1]
        elif key.isprintable():
            self.typing += key
