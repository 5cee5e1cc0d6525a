"""Whether a question's options go together, before any recording is read."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any, Final

import click

from sniff.batch.nouns import Task
from sniff.cli.batch_questions import Question, is_yes, recording_word
from sniff.cli.clocks import refuse_unknown_clock
from sniff.cli.options import converter_from, correction_from
from sniff.errors import BenchError, InputError, UsageError

Words = Mapping[str, tuple[str, ...]]
"""Words of the command line by the option that they give."""


def check_tasks(question: Question, common: Words, tasks: Sequence[Task], manifest: str) -> None:
    """Read the options of every task, as its command will.

    Parameters
    ----------
    question : Question
    common : mapping
        Words of the common options.
    tasks : sequence of Task
    manifest : str
        Its name, for the errors of options that are a file's own.

    Raises
    ------
    click.ClickException, UsageError
        When common options are off.
    InputError
        When a file's own are, or do not go with the common ones.
    """
    command = question.command()
    words = [*all_words(common, {}), recording_word(question, "none")]
    with command.make_context(f"sniff batch {question.name}", words) as context:
        given = {**context.params, "planned": None, "plot": None, "course": None}
        known: set[tuple[tuple[str, str], ...]] = set()
        for task in tasks:
            own = tuple(sorted(task.options.items()))
            if own in known:
                continue
            with _named(f"{manifest}, {task.source}", own=bool(own)):
                _check(question, {**given, **_values(question, task.options, context)})
            known.add(own)


def _values(
    question: Question, options: Mapping[str, str], context: click.Context
) -> dict[str, Any]:
    """A file's own options as its command will read them."""
    values = {}
    for name, text in options.items():
        option = question.option(name)
        given: Any = [text] if option.multiple else text
        given = is_yes(option, text) if option.is_flag else given
        values[str(option.name)] = option.type_cast_value(context, given)
    return values


@contextmanager
def _named(where: str, *, own: bool) -> Iterator[None]:
    """Say of an error of a file's own options whose they are."""
    try:
        yield
    except (click.ClickException, BenchError) as error:
        if not own:
            raise
        text = error.format_message() if isinstance(error, click.ClickException) else str(error)
        raise InputError(f"{where}: {' '.join(text.split()).removesuffix('.')}") from None


def all_words(common: Words, own: Words) -> tuple[str, ...]:
    """The words of a task: its own options go before the common ones."""
    chosen = {**common, **own}
    return tuple(word for name in sorted(chosen) for word in chosen[name])


def _check(question: Question, given: Mapping[str, Any]) -> None:
    if given["seconds"] == 0:
        raise UsageError("--seconds 0 observes nothing; leave it out, or give a duration")
    converter_from(given)
    correction_from(given)
    refuse_unknown_clock(given["clock"])
    _CHECKS[question.name](given)


def _look(given: Mapping[str, Any]) -> None:
    from sniff.cli.running import look_settings

    look_settings(given)


def _probe(given: Mapping[str, Any]) -> None:
    from sniff.cli.plan_options import plan_from

    _look(given)
    plan_from(given)
    _refuse_live("--sibling", given["sibling"])
    if (given["sibling"] is None) != (given["sibling_carrier"] is None):
        raise UsageError("--sibling and --sibling-carrier go together")


def _carrier(given: Mapping[str, Any]) -> None:
    from sniff.cli.transmitting import read_limits, request_from

    _look(given)
    request_from(given)
    if given["limits"] is not None:
        read_limits(given["limits"])


def _watch(given: Mapping[str, Any]) -> None:
    from sniff.cli.watching import check_resolution, line_of

    line_of(given)
    check_resolution(given)


def _compare(given: Mapping[str, Any]) -> None:
    from sniff.cli.compare_words import is_filed, words_from
    from sniff.cli.filing import Work

    _look(given)
    for source in given["good"]:
        _refuse_live("--good", source)
    for source in filter(is_filed, given["good"]):
        raise UsageError(f"--good {source}: a batch compares with a recording, not with a job")
    words_from({**given, "work": Work()})


def _refuse_live(option: str, source: str | None) -> None:
    """A dongle is heard once: no two workers can, and no answer could be had again."""
    for text in () if source is None else (source, source.partition("=")[2]):
        if text.partition(":")[0] == "dongle":
            raise UsageError(
                f"{option} {source}: a batch compares with a recording; sniff record makes one"
            )


_CHECKS: Final[Mapping[str, Callable[[Mapping[str, Any]], None]]] = {
    "look": _look,
    "probe": _probe,
    "carrier": _carrier,
    "watch": _watch,
    "compare": _compare,
}
