"""``sniff batch``."""

import click

from sniff.cli.batch_questions import QUESTIONS


class _Questions(click.Group):
    """Questions by name; the list needs none of their commands."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order of the table."""
        return list(QUESTIONS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Make one from its question's command."""
        if cmd_name not in QUESTIONS:
            return None
        from sniff.cli.batch_command import batch_command

        return batch_command(QUESTIONS[cmd_name])

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the questions from the table."""
        with formatter.section("Questions"):
            formatter.write_dl([(name, each.about) for name, each in QUESTIONS.items()])


@click.group(
    cls=_Questions,
    options_metavar="",  # of its own it has but --help
    subcommand_metavar="QUESTION [OPTIONS] FILES or FOLDERS...",
)
def batch() -> None:
    """The same question over many recordings: a row for each, and what stands out first.

    \b
    sniff batch look --ppm 28.8 --u-ppm 0.3 recordings/
    sniff batch carrier --tolerance 5ppm --ppm 0 --u-ppm 1 --manifest fleet.csv
    """
