"""A question's command as a batch asks it: the same options but those of one file, and its own."""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final

import click

from sniff.cli.batch_questions import Question, words_of
from sniff.cli.options import Command, json_option, quiet_option, stack

_TYPED: Final = "sniff.batch.typed"

_batch_options = stack(
    click.option(
        "--out",
        type=click.Path(path_type=Path),
        metavar="DIR",
        help="Where rows, pictures and answers are kept.",
    ),
    click.option("--resume", is_flag=True, help="Go on with that folder: ask what is not done."),
    click.option(
        "--table",
        type=click.Choice(["csv", "parquet"]),
        default="csv",
        show_default=True,
        help="Format of the rows.",
    ),
    click.option(
        "--plot",
        type=click.Path(dir_okay=False, path_type=Path),
        metavar="FILE",
        help="Picture of the fleet, .png .svg or .pdf  [default: DIR/fleet.png].",
    ),
    click.option("--no-plot", is_flag=True, help="Draw none."),
    click.option(
        "--workers",
        type=click.IntRange(1, 1024),
        metavar="N",
        help="Processes on this machine  [default: one for each core].",
    ),
    click.option(
        "--cluster",
        metavar="ADDRESS",
        help="Ask on a Dask cluster, such as tcp://10.0.0.5:8786. All its workers must see the"
        " files under the same paths. CAUTION: whoever reaches it can run any program on it; keep"
        " it on a network of your own.",
    ),
    json_option,
    quiet_option,
)


def _asked_of(question: Question) -> Callable[[Command], Command]:
    return stack(
        click.argument("files", nargs=-1, metavar="FILES or FOLDERS..."),
        click.option(
            "--manifest",
            type=click.Path(dir_okay=False, path_type=Path),
            metavar="FILE",
            help=f"A CSV with a column 'file' and columns of options, such as {question.own}: each"
            " file's own.",
        ),
    )


class _Batch(click.Command):
    """Keeps the words as they were typed: each worker reads them for itself."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Read the words, keeping what they were before."""
        typed, _, _ = self.make_parser(ctx).parse_args(args=list(args))
        ctx.meta[_TYPED] = typed
        return super().parse_args(ctx, args)


def batch_command(question: Question) -> click.Command:
    """The command ``sniff batch QUESTION``."""

    @_asked_of(question)
    @_batch_options
    @click.pass_context
    def ask(ctx: click.Context, /, **given: Any) -> None:
        from sniff.cli.batching import run_batch

        ctx.exit(run_batch(question, _common(question, ctx.meta[_TYPED]), given))

    made = click.command(question.name, cls=_Batch, help=_help(question))(ask)
    made.params[:0] = question.options().values()
    return made


def _common(question: Question, typed: Mapping[str, Any]) -> dict[str, tuple[str, ...]]:
    """Words of the common options, by option."""
    found = {}
    for name, option in question.options().items():
        said = typed.get(str(option.name))
        if said is None or said is False:
            continue
        texts = said if isinstance(said, list) else ["yes" if said is True else said]
        found[name] = tuple(word for text in texts for word in words_of(option, text))
    return found


def _help(question: Question) -> str:
    return f"""{question.about}  One row for each recording.

    A folder is searched with all folders in it, by name; of a SigMF pair the metadata stand for
    both. Everything is kept in --out ({question.name}-batch unless said): the rows, a picture, a
    summary, and each answer as 'sniff {question.name} --json' tells it. Ctrl-C keeps what is done,
    and --resume goes on: it asks again what could not be read, and whatever has changed since (the
    recording, an option, the clock).

    The options of 'sniff {question.name}' hold for all files, and a column of the manifest goes
    before them. Nothing is filed in a job.

    Exit code 0: all as expected; 1: a verdict failed; 4: a file could not be asked; 3: one is
    undecided; the first of these that holds.
    """
