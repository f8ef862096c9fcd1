"""Every table, as one list of statements per migration; `migrations` names and orders them."""

from __future__ import annotations

__all__ = ["CHECKS", "CHECKSUMS", "CLIPS", "EXCESS", "EXPOSURE", "PASSAGES", "PLANES", "REMARKS", "SESSIONS"]

SESSIONS = (
    """
    CREATE TABLE session (
        number INTEGER PRIMARY KEY,
        id TEXT NOT NULL UNIQUE,
        started_at TEXT NOT NULL,           -- UTC, ISO 8601
        ended_at TEXT,                      -- NULL while it runs, or after a crash
        end_reason TEXT,
        source_name TEXT NOT NULL,
        source_kind TEXT NOT NULL,
        instrument TEXT,
        program_version TEXT NOT NULL,
        settings_json TEXT NOT NULL,        -- as they were
        end_s REAL,
        limits_json TEXT NOT NULL,          -- with their sources
        rules_json TEXT NOT NULL,           -- of the watch: hold time and so on
        lost_samples INTEGER NOT NULL DEFAULT 0,
        dropped_frames INTEGER NOT NULL DEFAULT 0,
        summary_json TEXT
    )
    """,
    """
    CREATE TABLE series (
        id INTEGER PRIMARY KEY,
        session INTEGER NOT NULL REFERENCES session (number) ON DELETE CASCADE,
        side TEXT NOT NULL,
        quantity TEXT NOT NULL,
        value_step REAL NOT NULL,           -- numbers in a chunk are multiples of these
        sd_step REAL NOT NULL,
        UNIQUE (session, side, quantity)
    )
    """,
    """
    CREATE TABLE chunk (
        id INTEGER PRIMARY KEY,             -- the order in time within a series
        series INTEGER NOT NULL REFERENCES series (id) ON DELETE CASCADE,
        first_ms INTEGER NOT NULL,
        last_ms INTEGER NOT NULL,
        merged INTEGER NOT NULL,            -- 0: as committed, 1: many of those made one
        data BLOB NOT NULL
    )
    """,
    "CREATE INDEX chunk_of_series ON chunk (series, id)",
    "CREATE TABLE refusal (code INTEGER PRIMARY KEY, word TEXT NOT NULL UNIQUE)",
    """
    CREATE TABLE excursion (
        id INTEGER PRIMARY KEY,
        session INTEGER NOT NULL REFERENCES session (number) ON DELETE CASCADE,
        side TEXT NOT NULL,
        quantity TEXT NOT NULL,
        direction TEXT NOT NULL,
        level TEXT NOT NULL,
        limit_value REAL NOT NULL,
        start_s REAL NOT NULL,
        peak REAL NOT NULL,
        peak_s REAL NOT NULL,
        end_s REAL,                         -- NULL while it lasts
        end_word TEXT,
        warned_s REAL
    )
    """,
    "CREATE INDEX excursion_of_session ON excursion (session, start_s)",
    """
    CREATE TABLE mark (
        id INTEGER PRIMARY KEY,
        session INTEGER NOT NULL REFERENCES session (number) ON DELETE CASCADE,
        time_s REAL NOT NULL,
        note TEXT NOT NULL
    )
    """,
    "CREATE INDEX mark_of_session ON mark (session, time_s)",
    """
    CREATE TABLE warning (
        id INTEGER PRIMARY KEY,
        session INTEGER NOT NULL REFERENCES session (number) ON DELETE CASCADE,
        side TEXT NOT NULL,
        quantity TEXT NOT NULL,
        direction TEXT NOT NULL,
        limit_value REAL NOT NULL,
        since_s REAL NOT NULL,
        fired_s REAL NOT NULL,
        cleared_s REAL                      -- NULL while it is shown
    )
    """,
    "CREATE INDEX warning_of_session ON warning (session, fired_s)",
)

PASSAGES = (
    """
    CREATE TABLE piece (
        id INTEGER PRIMARY KEY,
        name TEXT NOT NULL,
        key TEXT NOT NULL UNIQUE,           -- the name without regard to case and spaces
        created_at TEXT NOT NULL            -- UTC, ISO 8601
    )
    """,
    """
    CREATE TABLE passage (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        session INTEGER NOT NULL REFERENCES session (number) ON DELETE CASCADE,
        piece INTEGER NOT NULL REFERENCES piece (id),
        bars TEXT NOT NULL,                 -- free text, '' without
        tempo_bpm REAL,
        start_s REAL NOT NULL,
        end_s REAL                          -- NULL while it is played
    )
    """,
    "CREATE INDEX passage_of_session ON passage (session, start_s)",
    "CREATE INDEX passage_of_piece ON passage (piece)",
    """
    CREATE TABLE practice_item (
        position INTEGER PRIMARY KEY,       -- 0, 1, 2 and so on
        piece INTEGER NOT NULL REFERENCES piece (id),
        bars TEXT NOT NULL,
        tempo_bpm REAL
    )
    """,
    """
    CREATE TABLE practice_place (
        one INTEGER PRIMARY KEY CHECK (one = 1),
        position INTEGER                    -- NULL before the first step
    )
    """,
    "INSERT INTO practice_place (one, position) VALUES (1, NULL)",
)

CLIPS = (
    """
    CREATE TABLE clip (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        session INTEGER NOT NULL REFERENCES session (number) ON DELETE CASCADE,
        name TEXT NOT NULL,
        file TEXT NOT NULL,                 -- below the data folder, with /
        start_s REAL NOT NULL,              -- of the session; second 0 of the video
        end_s REAL NOT NULL,
        bytes INTEGER NOT NULL,
        reason TEXT NOT NULL,
        has_sound INTEGER NOT NULL,
        kept INTEGER NOT NULL DEFAULT 0,
        note TEXT NOT NULL DEFAULT '',
        moments_json TEXT NOT NULL,
        written_at TEXT NOT NULL,
        removed_at TEXT,                    -- when it made room for newer ones
        UNIQUE (session, name)
    )
    """,
    "CREATE INDEX clip_of_file ON clip (file)",
)

CHECKS = (
    """
    CREATE TABLE discomfort (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        session INTEGER REFERENCES session (number) ON DELETE CASCADE,
        moment TEXT NOT NULL,               -- before or after
        checked_at TEXT NOT NULL,
        rating INTEGER NOT NULL,            -- 0 to 10
        places_json TEXT NOT NULL,
        signs_json TEXT NOT NULL,
        note TEXT NOT NULL
    )
    """,
    "CREATE INDEX discomfort_of_session ON discomfort (session)",
)

EXPOSURE = (
    """
    CREATE TABLE exposure (
        id INTEGER PRIMARY KEY,
        session INTEGER NOT NULL REFERENCES session (number) ON DELETE CASCADE,
        passage INTEGER REFERENCES passage (id) ON DELETE CASCADE,      -- NULL: the whole session
        side TEXT NOT NULL,
        quantity TEXT NOT NULL,
        total_s REAL NOT NULL,
        measured_s REAL NOT NULL,
        p10 REAL,
        p50 REAL,
        p90 REAL,
        rests INTEGER
    )
    """,
    "CREATE INDEX exposure_of_session ON exposure (session)",
    "CREATE INDEX exposure_of_passage ON exposure (passage)",
    """
    CREATE TABLE exposure_level (
        exposure INTEGER NOT NULL REFERENCES exposure (id) ON DELETE CASCADE,
        direction TEXT NOT NULL,
        level TEXT NOT NULL,
        limit_value REAL NOT NULL,
        seconds REAL NOT NULL,              -- beyond the limit
        dose REAL NOT NULL,                 -- unit times seconds
        excursions INTEGER NOT NULL,
        longest_s REAL,
        PRIMARY KEY (exposure, direction, level)
    ) WITHOUT ROWID
    """,
    """
    CREATE TABLE review (
        session INTEGER PRIMARY KEY REFERENCES session (number) ON DELETE CASCADE,
        version INTEGER NOT NULL,           -- of the computation
        data BLOB NOT NULL                  -- all exposures and the finding, JSON, compressed
    )
    """,
)

PLANES = (
    """
    CREATE TABLE lift_plane (
        session INTEGER NOT NULL REFERENCES session (number) ON DELETE CASCADE,
        side TEXT NOT NULL,
        start_s REAL NOT NULL,              -- until the next of the same side
        plane TEXT NOT NULL,                -- what finger lifts were measured from
        PRIMARY KEY (session, side, start_s)
    ) WITHOUT ROWID
    """,
)

#: Excess angle x time, as the field calls it.
EXCESS = ("ALTER TABLE exposure_level RENAME COLUMN dose TO excess",)

#: So that damage on the disk does not pass for health; see `posturewatch.storage.samples.checksums`.
CHECKSUMS = (
    "ALTER TABLE chunk ADD COLUMN checksum INTEGER",
    "ALTER TABLE session ADD COLUMN summary_checksum INTEGER",
    """
    CREATE TABLE seal (
        session INTEGER PRIMARY KEY REFERENCES session (number) ON DELETE CASCADE,
        digest BLOB NOT NULL,               -- of what does not change once the session is over
        samples INTEGER NOT NULL            -- how many were kept
    )
    """,
)

#: What somebody who was shown a session, such as a teacher, says of it.
REMARKS = (
    """
    CREATE TABLE remark (
        id INTEGER PRIMARY KEY,
        session INTEGER NOT NULL REFERENCES session (number) ON DELETE CASCADE,
        uid TEXT NOT NULL UNIQUE,           -- the same wherever it goes
        time_s REAL,                        -- of the session; NULL for the session as a whole
        author TEXT NOT NULL,
        text TEXT NOT NULL,
        written_at TEXT NOT NULL
    )
    """,
    "CREATE INDEX remark_of_session ON remark (session, time_s)",
)
