"""The notebook's tables: one step for each format version, never changed once it was used."""

APPLICATION_ID = 0x736E4A42
"""In the file's head, by which a notebook is told from another program's database."""

_FORMAT_1 = (
    """CREATE TABLE readings (
        number INTEGER PRIMARY KEY AUTOINCREMENT,
        filed_utc TEXT NOT NULL,
        command TEXT NOT NULL,
        stage TEXT,
        place TEXT,
        verdict TEXT,
        exit_code INTEGER NOT NULL,
        command_line TEXT NOT NULL,
        folder TEXT NOT NULL,
        software TEXT NOT NULL,
        sheet TEXT NOT NULL,
        told TEXT NOT NULL
    )""",
    "CREATE INDEX readings_by_command ON readings (command, stage, place)",
    """CREATE TABLE files (
        number INTEGER PRIMARY KEY AUTOINCREMENT,
        kind TEXT NOT NULL,
        path TEXT NOT NULL,
        sha256 TEXT NOT NULL,
        bytes INTEGER NOT NULL,
        UNIQUE (path, sha256)
    )""",
    """CREATE TABLE uses (
        reading INTEGER NOT NULL REFERENCES readings (number),
        file INTEGER NOT NULL REFERENCES files (number),
        PRIMARY KEY (reading, file)
    ) WITHOUT ROWID""",
    """CREATE TABLE notes (
        number INTEGER PRIMARY KEY AUTOINCREMENT,
        at_utc TEXT NOT NULL,
        kind TEXT NOT NULL,
        stage TEXT,
        text TEXT NOT NULL,
        photo INTEGER REFERENCES files (number)
    )""",
)

_FORMAT_2 = ("ALTER TABLE files ADD COLUMN modified_ns INTEGER",)
"""By it a long recording that many readings use is hashed once."""

STEPS = (_FORMAT_1, _FORMAT_2)
FORMAT = len(STEPS)
"""Version that this program writes."""
