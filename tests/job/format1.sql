-- A notebook of format 1, as the version of 2026-11-25 wrote it.
PRAGMA application_id = 1936607810;
PRAGMA user_version = 1;
BEGIN TRANSACTION;
CREATE TABLE files (
        number INTEGER PRIMARY KEY AUTOINCREMENT,
        kind TEXT NOT NULL,
        path TEXT NOT NULL,
        sha256 TEXT NOT NULL,
        bytes INTEGER NOT NULL,
        UNIQUE (path, sha256)
    );
INSERT INTO "files" VALUES(1,'recording','recordings/deaf.sigmf-data','abababababababababababababababababababababababababababababababab',1792000);
CREATE TABLE notes (
        number INTEGER PRIMARY KEY AUTOINCREMENT,
        at_utc TEXT NOT NULL,
        kind TEXT NOT NULL,
        stage TEXT,
        text TEXT NOT NULL,
        photo INTEGER REFERENCES files (number)
    );
INSERT INTO "notes" VALUES(1,'2026-11-25T13:05:00+00:00','repair',NULL,'joint at the crystal soldered anew',NULL);
CREATE TABLE readings (
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
    );
INSERT INTO "readings" VALUES(1,'2026-11-25T13:00:00+00:00','probe','arrival',NULL,'fault',1,'sniff probe --from recordings/deaf.sigmf-meta','/bench','0.1.0','# The sheet of a repair job: edit what you like, ''sniff job show'' reads it back.
sniff_job = 1

set = "Tour-guide receiver 12"
fault = "deaf"
started = 2026-11-25T13:00:00Z
# What you found, in your own words, for the report:
finding = ""
# What the report should say was not looked at, such as "sensitivity":
not_checked = []

# [plan]
# carrier = "72.9M"
# if = "10.7M"
# side = "high"
# multiplier = 3
# tolerance = "50ppm"

# [sibling]          # a working set of the same make
# source = "recordings/sibling.sigmf-meta"
# carrier = "74.7M"
','{"schema": "sniff/1", "command": "probe", "source": {"kind": "bench", "name": "bench:tour-guide-deaf"}, "clock": null, "result": {"verdict": "fault", "why": "LO is unsteady", "lines": []}, "cautions": []}');
INSERT INTO "readings" VALUES(2,'2026-11-25T13:01:00+00:00','probe','after',NULL,'as-expected',0,'sniff probe --from recordings/deaf.sigmf-meta','/bench','0.1.0','# The sheet of a repair job: edit what you like, ''sniff job show'' reads it back.
sniff_job = 1

set = "Tour-guide receiver 12"
fault = "deaf"
started = 2026-11-25T13:00:00Z
# What you found, in your own words, for the report:
finding = ""
# What the report should say was not looked at, such as "sensitivity":
not_checked = []

# [plan]
# carrier = "72.9M"
# if = "10.7M"
# side = "high"
# multiplier = 3
# tolerance = "50ppm"

# [sibling]          # a working set of the same make
# source = "recordings/sibling.sigmf-meta"
# carrier = "74.7M"
','{"schema": "sniff/1", "command": "probe", "source": {"kind": "bench", "name": "bench:tour-guide-deaf"}, "clock": null, "result": {"verdict": "as-expected", "why": "all there: Gr\u00f6\u00dfe \u00b5", "lines": []}, "cautions": []}');
CREATE TABLE uses (
        reading INTEGER NOT NULL REFERENCES readings (number),
        file INTEGER NOT NULL REFERENCES files (number),
        PRIMARY KEY (reading, file)
    ) WITHOUT ROWID;
INSERT INTO "uses" VALUES(1,1);
INSERT INTO "uses" VALUES(2,1);
CREATE INDEX readings_by_command ON readings (command, stage, place);
DELETE FROM "sqlite_sequence";
INSERT INTO "sqlite_sequence" VALUES('readings',2);
INSERT INTO "sqlite_sequence" VALUES('files',2);
INSERT INTO "sqlite_sequence" VALUES('notes',1);
COMMIT;
