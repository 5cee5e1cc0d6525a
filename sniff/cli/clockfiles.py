"""What is kept of dongles: listing, showing, exporting, importing and forgetting it."""

import json
from datetime import datetime, timezone
from pathlib import Path

from calib.folder import StoreError
from calib.levelstore import parse as parse_levels
from calib.levelstore import render as render_levels
from calib.store import parse, render
from sniff.cli.clocks import clock_store
from sniff.cli.levels import levels_kept
from sniff.report.calibration_text import print_clock, print_clocks
from sniff.report.level_text import print_levels
from sniff.wholefile import TemporaryBeside


def list_all() -> None:
    """Print all clocks."""
    store = clock_store()
    profiles = [store.find(name) for name in store.names()]
    print_clocks([profile for profile in profiles if profile], now=datetime.now(timezone.utc))
    only_levels = sorted(set(levels_kept().names()) - set(store.names()))
    if only_levels:
        print_levels([point for name in only_levels for point in levels_kept().history(name)])


def show_one(name: str) -> None:
    """Print what is known of one dongle: its clock with the history, and its levels."""
    history, points = clock_store().history(name), levels_kept().history(name)
    if not history and not points:
        raise _none(name)
    if history:
        print_clock(history, now=datetime.now(timezone.utc))
    print_levels(points)


def export_one(name: str, file: Path) -> None:
    """Write what is known of one dongle to a file."""
    history, points = clock_store().history(name), levels_kept().history(name)
    if not history and not points:
        raise _none(name)
    # One object with both: each reader takes its own part.
    data = {**json.loads(render_levels(points)), **json.loads(render(history))}
    with TemporaryBeside(file) as whole:
        whole.file.write((json.dumps(data, indent=1) + "\n").encode())
        whole.move_to(file)


def import_one(file: Path, name: str | None) -> None:
    """Take in what a file tells of one dongle, its whole history."""
    try:
        text = file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise StoreError(f"{file}: cannot be read: {error}") from None
    history = parse(text, name=str(file))
    points = parse_levels(text, name=str(file)) if '"levels"' in text else ()
    clocks, levels = clock_store(), levels_kept()
    for profile in history:
        kept = profile if name is None else profile.renamed(name)
        if kept not in clocks.history(kept.name):
            clocks.save(kept)
    for point in points:
        moved = point if name is None else point.renamed(name)
        if moved not in levels.history(moved.name):
            levels.add(moved.name, moved)


def forget_one(name: str) -> None:
    """Remove a clock with its history, and its levels."""
    clocks, levels = clock_store(), levels_kept()
    if name in levels.names():
        levels.forget(name)
        if name not in clocks.names():
            return
    clocks.forget(name)


def _none(name: str) -> StoreError:
    return StoreError(f"no clock is called {name!r}; 'sniff calibrate list' shows them")
