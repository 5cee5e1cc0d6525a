"""A batch's words: what is asked of one recording, and what came of it."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """One recording, and what is asked of it.

    Attributes
    ----------
    number : int
        Place in the list, from 0: rows keep this order, whenever their answers come.
    source : str
        The recording, as it would stand after ``--from``.
    options : mapping of str to str
        This file's own options beyond the common ones: name without dashes to the text as typed
        (``carrier`` to ``72.9M``).
    """

    number: int
    source: str
    options: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What came of one task.

    Attributes
    ----------
    number, source, options
        Those of the task.
    key : str
        Hash of the recording's content, all options, the question and the software's version: the
        same key has the same answer.
    exit_code : int
        Of the command: 0 as expected, 1 a verdict failed, 2 its options are off, 3 undecided,
        4 the recording is in trouble.
    told : mapping or None
        The command's whole JSON object; None when there is none.
    error : str or None
        The one line that says why there is none.
    seconds : float
        Computing time, s: for the summary, and never in a row, which is the same bit by bit
        whoever computed it.
    """

    number: int
    source: str
    key: str
    options: Mapping[str, str]
    exit_code: int
    told: Mapping[str, Any] | None
    error: str | None
    seconds: float
