"""The command line: a table of commands, each loaded only when it is run."""

import os
import sys
from collections.abc import Callable
from importlib import import_module

import click

from sniff import __version__
from sniff.errors import BenchError

INTERRUPTED = 130

COMMANDS = {
    "devices": "Which dongles are here, what they tune, what is wrong if none.",
    "look": "What is on the air or on the loop: one spectrum and its peaks.",
    "plan": "Which lines should exist; or the IF and side from lines seen.",
    "probe": "Are the expected lines there?  The line board.",
    "compare": "What the suspect lacks that a good set of its make has.",
    "sweep": "A span wider than one tuning, its lines named.",
    "watch": "Does the line stay?  Drop-outs, their kind, how often, how sure.",
    "carrier": "Is a transmitter right?  Frequency, deviation, tones, bandwidth.",
    "calibrate": "The clock error from known carriers, kept for the dongle.",
    "record": "IQ to SigMF, with a memory of what came before an event.",
    "job": "A repair job: keeps every reading, and becomes the report.",
    "page": "The live line board in a browser, with a tap test and an ear.",
    "batch": "The same question over many recordings, a row for each.",
    "demo": "The main job on shipped recordings, no hardware needed.",
}


class LazyGroup(click.Group):
    """Commands by name; `--help` needs none of their imports."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order of the job, not of the alphabet."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import one command."""
        if cmd_name not in COMMANDS:
            return None
        command = getattr(import_module(f"sniff.cli.{cmd_name}"), cmd_name)
        assert isinstance(command, click.Command)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands from the table, without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


EXIT_CODES = """
\b
Exit codes:
  0  done, and as expected
  1  a verdict failed
  2  the command's words are off
  3  undecided, or what was waited for did not come
  4  source, device or file trouble
  130  interrupted; what was recorded is kept
"""


@click.group(cls=LazyGroup, epilog=EXIT_CODES, context_settings={"help_option_names": ["--help"]})
@click.version_option(__version__, prog_name="sniff")
def commands() -> None:
    """Bench tool for radio repair: which lines a set should emit, whether they are there, and
    how sure one can be, from a dongle, a recording or the simulated bench.

    \b
    sniff COMMAND --help    tells all options of a command
    """


def main() -> None:
    """Run the command line; a mistake of the user's is one line on stderr, never a traceback."""
    # Our matrix products are narrow: a second thread of the library only spins for them, and the
    # spectrum has threads of its own. Read when numpy is first imported, hence here.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    for stream in (sys.stdout, sys.stderr):
        # A terminal that lacks a sign shows a question mark rather than stopping the measurement.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    code, line = outcome_of(_run)
    if line is not None:
        click.echo(f"sniff: {line}", err=True)
    sys.exit(code)


def _run() -> object:
    try:
        code = commands.main(prog_name="sniff", standalone_mode=False)
        sys.stdout.flush()
    except click.exceptions.NoArgsIsHelpError as error:
        click.echo(error.format_message())
        return error.exit_code
    except BrokenPipeError:
        # The reader of our output went away, as `head` does. Nothing more can be said to it.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    return code


def outcome_of(run: Callable[[], object]) -> tuple[int, str | None]:
    """Run a command: its exit code, and the line that says what stopped it, if anything did."""
    try:
        code = run()
    except click.exceptions.Exit as done:
        return done.exit_code, None
    except click.ClickException as error:
        return error.exit_code, _in_one_line(error)
    except BenchError as error:
        return error.exit_code, str(error)
    except (KeyboardInterrupt, click.Abort):
        return INTERRUPTED, "interrupted"
    except OSError as error:
        return 4, f"{error.filename or 'the system'}: {error.strerror or error}"
    except MemoryError:
        return 4, "not enough memory; ask for a coarser --rbw or fewer --seconds"
    return code if isinstance(code, int) else 0, None


def _in_one_line(error: click.ClickException) -> str:
    text = " ".join(error.format_message().split()).removesuffix(".")
    context = getattr(error, "ctx", None)
    path = context.command_path if context is not None else "sniff"
    return f"{text[:1].lower()}{text[1:]}; '{path} --help' tells the words"
