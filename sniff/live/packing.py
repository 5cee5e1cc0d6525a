"""Frames as bytes, and everything else as small JSON texts: what goes over the wire.

A binary message, little-endian: ``u8`` version (1), ``u8`` flags (1: a held line follows),
``u16`` points, ``u32`` number, ``f64`` time s, ``f64`` first Hz, ``f64`` step Hz, then the points'
levels, one byte each (half decibels over -140 dBFS), then the held ones.
"""

import json
from dataclasses import replace
from struct import Struct

from sniff.live.nouns import Frame, LiveRow
from sniff.report.envelope import plain

VERSION = 1
HEADER = Struct("<BBHIddd")
_HELD = 1


def pack_frame(frame: Frame) -> bytes | None:
    """A frame's spectrum as bytes; None when it has none."""
    if not frame.levels.size:
        return None
    held = frame.hold is not None
    head = HEADER.pack(
        VERSION,
        _HELD if held else 0,
        frame.levels.size,
        frame.number & 0xFFFF_FFFF,
        frame.time_s,
        frame.first_hz,
        frame.step_hz,
    )
    return head + frame.levels.tobytes() + (b"" if frame.hold is None else frame.hold.tobytes())


def pack_rows(rows: tuple[LiveRow, ...], *, time_s: float) -> str:
    """The board as JSON text; numbers no longer than a screen can show."""
    return text("board", {"time_s": round(time_s, 3), "rows": [_short(row) for row in rows]})


def text(kind: str, content: object) -> str:
    """A message of a kind."""
    return json.dumps({"kind": kind, **_as_object(content)}, ensure_ascii=False, allow_nan=False)


def _as_object(content: object) -> dict[str, object]:
    found = plain(content)
    return found if isinstance(found, dict) else {"content": found}


def _short(row: LiveRow) -> LiveRow:
    return replace(
        row,
        level_dbfs=None if row.level_dbfs is None else round(row.level_dbfs, 1),
        against_db=None if row.against_db is None else round(row.against_db, 1),
        gone_s=None if row.gone_s is None else round(row.gone_s, 2),
        last_s=None if row.last_s is None else round(row.last_s, 2),
    )
