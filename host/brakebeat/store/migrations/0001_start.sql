-- Times of day: milliseconds since 1970 UTC (`_ms`). Times inside a recording: microseconds of its clock (`_us`).
-- Whatever has a deleted_ms counts as deleted from then on, and so does all below it; undoing clears it.
-- uid: what makes a row itself across stores, so that an import knows what is there already.

CREATE TABLE athlete (
    id INTEGER PRIMARY KEY,
    uid TEXT NOT NULL UNIQUE,
    name TEXT NOT NULL,
    created_ms INTEGER NOT NULL,
    deleted_ms INTEGER
) STRICT;
CREATE UNIQUE INDEX athlete_name ON athlete (name COLLATE NOCASE) WHERE deleted_ms IS NULL;

CREATE TABLE exercise (
    id INTEGER PRIMARY KEY,
    uid TEXT NOT NULL UNIQUE,
    name TEXT NOT NULL,
    created_ms INTEGER NOT NULL,
    deleted_ms INTEGER
) STRICT;
CREATE UNIQUE INDEX exercise_name ON exercise (name COLLATE NOCASE) WHERE deleted_ms IS NULL;

-- A rig as it was when it was used. Never changed: another wheel or setting is another row; uid is its digest.
CREATE TABLE rig (
    id INTEGER PRIMARY KEY,
    uid TEXT NOT NULL UNIQUE,
    name TEXT,
    inertia_kg_m2 REAL,
    document TEXT NOT NULL,
    created_ms INTEGER NOT NULL
) STRICT;

CREATE TABLE plan (
    id INTEGER PRIMARY KEY,
    uid TEXT NOT NULL UNIQUE,
    athlete_id INTEGER NOT NULL REFERENCES athlete,
    document TEXT NOT NULL,
    created_ms INTEGER NOT NULL,
    deleted_ms INTEGER
) STRICT;

CREATE TABLE session (
    id INTEGER PRIMARY KEY,
    uid TEXT NOT NULL UNIQUE,
    athlete_id INTEGER NOT NULL REFERENCES athlete,
    plan_id INTEGER REFERENCES plan,
    started_ms INTEGER NOT NULL,
    utc_offset_min INTEGER NOT NULL,
    deleted_ms INTEGER
) STRICT;
CREATE INDEX session_by_athlete ON session (athlete_id, started_ms);
CREATE INDEX session_by_time ON session (started_ms);

-- Edges as they came, of one or more sets. uid is their digest; how they are packed is in store/edges.py.
CREATE TABLE recording (
    id INTEGER PRIMARY KEY,
    uid TEXT NOT NULL UNIQUE,
    header TEXT NOT NULL,
    edge_count INTEGER NOT NULL,
    edges BLOB NOT NULL,
    created_ms INTEGER NOT NULL
) STRICT;

CREATE TABLE engine (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL,
    version TEXT NOT NULL,
    UNIQUE (name, version)
) STRICT;

-- position counts the sets of a session from 1. computation_id: the figures that count now.
CREATE TABLE work_set (
    id INTEGER PRIMARY KEY,
    uid TEXT NOT NULL UNIQUE,
    session_id INTEGER NOT NULL REFERENCES session,
    position INTEGER NOT NULL,
    exercise_id INTEGER NOT NULL REFERENCES exercise,
    rig_id INTEGER NOT NULL REFERENCES rig,
    recording_id INTEGER REFERENCES recording,
    computation_id INTEGER REFERENCES computation,
    started_ms INTEGER NOT NULL,
    deleted_ms INTEGER,
    UNIQUE (session_id, position)
) STRICT;
CREATE INDEX work_set_by_recording ON work_set (recording_id);
CREATE INDEX work_set_by_exercise ON work_set (exercise_id);

-- One engine's look at one set. Older ones stay, so that a recomputation can be undone.
CREATE TABLE computation (
    id INTEGER PRIMARY KEY,
    uid TEXT NOT NULL UNIQUE,
    set_id INTEGER NOT NULL REFERENCES work_set,
    engine_id INTEGER NOT NULL REFERENCES engine,
    computed_ms INTEGER NOT NULL,
    quality TEXT
) STRICT;
CREATE INDEX computation_by_set ON computation (set_id);

-- rep_index is the engine's own (a recording's or a board's), so it need not start at 0 in a set.
CREATE TABLE rep (
    computation_id INTEGER NOT NULL REFERENCES computation,
    rep_index INTEGER NOT NULL,
    momentum INTEGER NOT NULL,
    start_us INTEGER NOT NULL,
    extension_us INTEGER NOT NULL,
    end_us INTEGER NOT NULL,
    peak_us INTEGER NOT NULL,
    peak_rad_s REAL NOT NULL,
    extension_rad_s REAL,
    concentric_rad REAL NOT NULL,
    eccentric_rad REAL NOT NULL,
    brake_onset_us INTEGER,
    brake_fraction REAL,
    brake_timing TEXT,
    concentric_duration_s REAL,
    concentric_energy_j REAL,
    concentric_mean_power_w REAL,
    concentric_peak_power_w REAL,
    concentric_peak_torque_nm REAL,
    concentric_peak_force_n REAL,
    eccentric_duration_s REAL,
    eccentric_energy_j REAL,
    eccentric_mean_power_w REAL,
    eccentric_peak_power_w REAL,
    eccentric_peak_torque_nm REAL,
    eccentric_peak_force_n REAL,
    flags TEXT NOT NULL,
    uncertainty TEXT,
    PRIMARY KEY (computation_id, rep_index)
) STRICT, WITHOUT ROWID;

-- Columns of a key come first: SQLite's integrity check (3.40) finds fault where there is none otherwise.
CREATE TABLE cue (
    computation_id INTEGER NOT NULL REFERENCES computation,
    t_us INTEGER NOT NULL,
    kind TEXT NOT NULL,
    rep_index INTEGER NOT NULL,
    PRIMARY KEY (computation_id, t_us, kind)
) STRICT, WITHOUT ROWID;

-- A rep taken out by hand, by an instant inside it: that holds whatever a recomputation calls its reps.
CREATE TABLE rep_mark (
    id INTEGER PRIMARY KEY,
    uid TEXT NOT NULL UNIQUE,
    set_id INTEGER NOT NULL REFERENCES work_set,
    at_us INTEGER NOT NULL,
    created_ms INTEGER NOT NULL,
    deleted_ms INTEGER
) STRICT;
CREATE INDEX rep_mark_by_set ON rep_mark (set_id);

-- A note belongs to one of the three.
CREATE TABLE note (
    id INTEGER PRIMARY KEY,
    uid TEXT NOT NULL UNIQUE,
    athlete_id INTEGER REFERENCES athlete,
    session_id INTEGER REFERENCES session,
    set_id INTEGER REFERENCES work_set,
    text TEXT NOT NULL,
    created_ms INTEGER NOT NULL,
    deleted_ms INTEGER,
    CHECK ((athlete_id IS NOT NULL) + (session_id IS NOT NULL) + (set_id IS NOT NULL) = 1)
) STRICT;
CREATE INDEX note_by_session ON note (session_id);
CREATE INDEX note_by_set ON note (set_id);

-- What was edited or deleted, with what stood there before.
CREATE TABLE change (
    id INTEGER PRIMARY KEY,
    at_ms INTEGER NOT NULL,
    summary TEXT NOT NULL,
    undone_ms INTEGER
) STRICT;
CREATE TABLE change_row (
    change_id INTEGER NOT NULL REFERENCES change,
    position INTEGER NOT NULL,
    table_name TEXT NOT NULL,
    row_id INTEGER NOT NULL,
    before TEXT NOT NULL,
    after TEXT NOT NULL,
    PRIMARY KEY (change_id, position)
) STRICT, WITHOUT ROWID;

CREATE VIEW live_session AS
    SELECT session.*, athlete.name AS athlete
    FROM session JOIN athlete ON athlete.id = session.athlete_id
    WHERE session.deleted_ms IS NULL AND athlete.deleted_ms IS NULL;

CREATE VIEW live_set AS
    SELECT work_set.*, session.athlete_id, session.athlete, session.utc_offset_min, session.uid AS session_uid,
        exercise.name AS exercise, rig.name AS rig, rig.inertia_kg_m2,
        engine.name AS engine, engine.version AS engine_version
    FROM work_set
    JOIN live_session AS session ON session.id = work_set.session_id
    JOIN exercise ON exercise.id = work_set.exercise_id
    JOIN rig ON rig.id = work_set.rig_id
    LEFT JOIN computation ON computation.id = work_set.computation_id
    LEFT JOIN engine ON engine.id = computation.engine_id
    WHERE work_set.deleted_ms IS NULL;
