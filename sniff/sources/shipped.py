"""Where the recordings that come with the program are."""

from pathlib import Path

from sniff.errors import SourceError


def shipped_recordings() -> Path:
    """Folder of the recordings: in the installed package, or at the top of a source tree.

    Raises
    ------
    SourceError
        When neither is there.
    """
    package = Path(__file__).resolve().parents[1]
    for folder in (package / "shipped", package.parent / "recordings"):
        if folder.is_dir():
            return folder
    raise SourceError(
        f"the recordings that come with sniff are not in {package}; install the whole package"
    )
