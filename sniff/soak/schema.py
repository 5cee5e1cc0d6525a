"""The tables of a soak's notebook, their version, and how an older one is brought up to it."""

APPLICATION_ID = 0x50AC5EED
"""Tells our files from any other SQLite file (https://www.sqlite.org/pragma.html)."""

VERSION = 1
"""Raise it with each change of the tables, and add a step to `STEPS`."""


def _real(name: str) -> str:
    # SQLite keeps a text in a REAL column as a text; the check lets `quick_check` find damage.
    return f"{name} REAL NOT NULL CHECK (typeof({name}) = 'real')"


def _perhaps(name: str) -> str:
    return f"{name} REAL CHECK (typeof({name}) IN ('real', 'null'))"


def _whole(name: str) -> str:
    return f"{name} INTEGER NOT NULL CHECK (typeof({name}) = 'integer')"


STEPS: dict[int, str] = {
    1: f"""
    CREATE TABLE setup (
        one INTEGER PRIMARY KEY CHECK (one = 1),
        {_real("line_hz")},
        {_real("resolution_s")}
    );
    CREATE TABLE run (
        id INTEGER PRIMARY KEY,
        {_real("zero_utc_s")},
        {_real("indicated_hz")},
        {_whole("inverted")},
        about TEXT NOT NULL,        -- JSON
        uncounted INTEGER NOT NULL DEFAULT 0,   -- drop-outs begun that no minute counts yet
        ended TEXT                  -- NULL while it runs, and when it was killed
    );
    CREATE TABLE observed (
        id INTEGER PRIMARY KEY,
        run INTEGER NOT NULL REFERENCES run (id),
        {_real("start_utc_s")},
        {_real("end_utc_s")},
        {_real("lost_s")}
    );
    CREATE TABLE minute (
        run INTEGER NOT NULL REFERENCES run (id),
        {_whole("number")},    -- minutes since 1970 UTC
        {_real("start_utc_s")},
        {_real("observed_s")},
        {_real("present_s")},
        {_whole("dropouts")},
        {_perhaps("median_dbfs")},
        {_perhaps("lowest_dbfs")},
        {_perhaps("highest_dbfs")},
        {_perhaps("offset_hz")},
        PRIMARY KEY (run, number)
    ) WITHOUT ROWID;
    CREATE TABLE dropout (
        id INTEGER PRIMARY KEY,
        run INTEGER NOT NULL REFERENCES run (id),
        {_real("start_utc_s")},
        {_perhaps("duration_s")},            -- NULL when the soak broke off before it ended
        {_perhaps("depth_db")},
        {_real("pull_hz")},
        kind TEXT,
        {_perhaps("before_dbfs")},
        {_perhaps("before_offset_hz")},
        recording TEXT
    );
    CREATE TABLE begun (            -- drop-outs begun and not complete, about when
        run INTEGER NOT NULL REFERENCES run (id),
        {_real("start_utc_s")}
    );
    CREATE TABLE passage (          -- course about the beginning ('fall') or end ('rise') of one
        dropout INTEGER NOT NULL REFERENCES dropout (id),
        side TEXT NOT NULL,
        {_real("start_utc_s")},
        {_real("step_s")},
        level_dbfs BLOB NOT NULL,   -- float32, little-endian
        offset_hz BLOB NOT NULL,
        PRIMARY KEY (dropout, side)
    ) WITHOUT ROWID;
    CREATE TABLE recording (
        name TEXT PRIMARY KEY,
        run INTEGER NOT NULL REFERENCES run (id),
        {_real("start_utc_s")},
        {_whole("bytes")}
    ) WITHOUT ROWID;
    """,
}
