"""Which format a recording has: by its extension, or raw when the user names a datatype."""

from pathlib import Path

from sniff.sources.recording.given import read_given
from sniff.sources.recording.source import RecordingSource


def open_recording(
    text: str,
    *,
    datatype: str | None = None,
    rate_hz: float | None = None,
    center_hz: float | None = None,
    on_the_air: bool = True,
    verify: bool | None = None,
) -> RecordingSource:
    """Open a recording.

    Parameters
    ----------
    text : str
        Its path.
    datatype : str, optional
        SigMF name of the sample type, where the file does not say it or says it wrongly.
    rate_hz, center_hz : float, optional
        What the file does not say; what it does say is replaced, with a caution. A centre also
        chooses among several captures.
    on_the_air : bool
        Whether the centre is one on the air, or what the receiver heard behind a converter. They
        differ where the file says that there was one.
    verify : bool, optional
        Whether to check the hash of a SigMF recording; by default when it is not long.

    Raises
    ------
    SourceError
        When it cannot be read.
    UsageError
        When an option is missing or out of range.
    """
    path = Path(text)
    given = read_given(
        datatype=datatype, rate_hz=rate_hz, center_hz=center_hz, on_the_air=on_the_air
    )
    extension = path.suffix.lower()
    # Each format is imported when it is met: SigMF and WAV bring libraries that take time to load.
    if extension in (".sigmf-meta", ".sigmf-data", ".sigmf"):
        from sniff.sources.recording.sigmf import open_sigmf

        return open_sigmf(path, name=text, given=given, verify=verify)
    if extension == ".wav":
        from sniff.sources.recording.wav import open_wav

        return open_wav(path, name=text, given=given)
    from sniff.sources.recording.raw import open_raw

    return open_raw(path, name=text, given=given)
