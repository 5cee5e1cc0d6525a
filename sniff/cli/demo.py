"""``sniff demo``."""

from pathlib import Path

import click


@click.command()
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    default=Path("sniff-demo"),
    show_default=True,
    metavar="DIR",
    help="Folder for the pictures.",
)
def demo(out: Path) -> None:
    """The main job on shipped recordings, no hardware needed: a deaf receiver, its working
    sibling, the repair, and what may be said of it.
    """
    from sniff.cli.story import tell

    tell(out)
