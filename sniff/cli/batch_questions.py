"""The questions that a batch can ask, and what of their options makes sense for many files."""

from collections.abc import Mapping
from copy import copy
from dataclasses import dataclass, field
from functools import cache
from importlib import import_module
from typing import Final

import click

from sniff.errors import InputError

_SHOWING = frozenset({"as_json", "quiet", "plot", "course", "budget"})
_OF_A_JOB = frozenset({"job", "no_job", "stage", "keep_iq"})
_OF_A_DONGLE = frozenset({"gain", "bandwidth", "direct", "bias", "wait", "prove"})
_AT_THE_BENCH = frozenset(
    {"until", "bell", "taps", "control", "tap_window", "heat_window", "soak", "before", "keep"}
    | {"places", "repeat"}
)
LEFT_OUT: Final = _SHOWING | _OF_A_JOB | _OF_A_DONGLE | _AT_THE_BENCH | {"audio", "harmonics"}
"""Options, by their parameters' names, that no batch takes."""

_YES: Final = frozenset({"yes", "true", "1", "on", "x"})
_NO: Final = frozenset({"no", "false", "0", "off"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """A command that is asked of each recording.

    Attributes
    ----------
    name : str
        Of the command.
    about : str
        One line for the help.
    takes : str
        Its parameter that takes the recording.
    works : tuple of str
        Modules that do its work: each worker imports them once.
    own : str
        An option that is each file's own more often than others, for the help.
    helps : mapping of str to str
        Help of options, by name, whose own speaks of what a batch has not.
    """

    name: str
    about: str
    takes: str
    works: tuple[str, ...]
    own: str
    helps: Mapping[str, str] = field(default_factory=dict, compare=False)

    def command(self) -> click.Command:
        """The command as it is asked of one recording."""
        command = getattr(import_module(f"sniff.cli.{self.name}"), self.name)
        assert isinstance(command, click.Command)
        return command

    def options(self) -> Mapping[str, click.Option]:
        """Options that a batch takes, by their names without dashes."""
        return _options_of(self)

    def option(self, name: str) -> click.Option:
        """One of them.

        Raises
        ------
        InputError
            When there is none of this name.
        """
        found = self.options().get(name)
        if found is None:
            raise InputError(
                f"{name!r} is no option of 'sniff batch {self.name}'; its --help lists them"
            )
        return found


@cache
def _options_of(question: Question) -> dict[str, click.Option]:
    found = {
        _long(param): param
        for param in question.command().params
        if isinstance(param, click.Option) and param.name not in LEFT_OUT | {question.takes}
    }
    for name, words in question.helps.items():
        found[name] = copy(found[name])
        found[name].help = words
    return found


QUESTIONS: Final[Mapping[str, Question]] = {
    question.name: question
    for question in (
        Question(
            name="look",
            about="What is in each: one spectrum and its peaks.",
            takes="source",
            works=("sniff.cli.look", "sniff.cli.running"),
            own="rate",
        ),
        Question(
            name="probe",
            about="Are each set's expected lines there?",
            takes="source",
            works=("sniff.cli.probe", "sniff.cli.probing"),
            own="carrier",
            helps={"placement": "How much placing the loop moves a level, k = 2  [default: 6]."},
        ),
        Question(
            name="carrier",
            about="Is each transmitter right?",
            takes="source",
            works=("sniff.cli.carrier", "sniff.cli.transmitting"),
            own="nominal",
            helps={"deemphasis": "De-emphasis before SINAD and THD."},
        ),
        Question(
            name="watch",
            about="Does each line stay?",
            takes="source",
            works=("sniff.cli.watch", "sniff.cli.watching"),
            own="line",
        ),
        Question(
            name="compare",
            about="What does each lack that a known-good set has?",
            takes="suspect",
            works=("sniff.cli.compare", "sniff.cli.comparing"),
            own="suspect-carrier",
            helps={
                "good": "The known-good set: as after --from, or PLACE=SOURCE. Given again: the"
                " loop placed again.",
                "placement": "How much placing the loop moves a level, k = 2  [default: as several"
                " --good measure it, else 6].",
            },
        ),
    )
}


def is_yes(option: click.Option, text: str) -> bool:
    """What a text says of a flag.

    Raises
    ------
    InputError
        When it is neither yes nor no.
    """
    if text.lower() not in _YES | _NO:
        raise InputError(f"--{_long(option)} is yes or no, not {text!r}")
    return text.lower() in _YES


def words_of(option: click.Option, text: str) -> tuple[str, ...]:
    """Words of the command line that give an option this text; of a flag it is yes or no."""
    name = f"--{_long(option)}"
    if option.is_flag:
        return (name,) if is_yes(option, text) else ()
    return (f"{name}={text}",)


def own_words(question: Question, options: Mapping[str, str]) -> dict[str, tuple[str, ...]]:
    """A file's own options as words, by option.

    Raises
    ------
    InputError
        When there is no such option, or its text is off.
    """
    return {name: words_of(question.option(name), text) for name, text in options.items()}


def recording_word(question: Question, source: str) -> str:
    """The word that gives the recording."""
    params = (p for p in question.command().params if isinstance(p, click.Option))
    return f"--{_long(next(param for param in params if param.name == question.takes))}={source}"


def _long(option: click.Option) -> str:
    return max(option.opts, key=len).removeprefix("--")
