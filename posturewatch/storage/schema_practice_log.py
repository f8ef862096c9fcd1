"""The tables of the book, one list of statements per migration; `schema` names and orders them."""

from __future__ import annotations

__all__ = ["CHECKS", "CLIPS", "EXPOSURE", "PASSAGES"]

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
        start_s REAL NOT NULL,              -- of the session; second 0 of the film
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
