"""How the field book's file grew: each step once, in order, never changed afterwards.

`PRAGMA user_version` counts the steps that a file has taken. A step is a tuple of single
statements, since sqlite's own script runner would commit half a step.
"""

from __future__ import annotations

_FIRST = (
    """CREATE TABLE place (
        id INTEGER PRIMARY KEY,
        root TEXT NOT NULL UNIQUE,
        role TEXT NOT NULL CHECK (role IN ('first', 'second')),
        device TEXT NOT NULL
    ) STRICT""",
    """CREATE TABLE outing (
        id INTEGER PRIMARY KEY,
        day TEXT NOT NULL,
        name TEXT NOT NULL,
        folder TEXT NOT NULL UNIQUE,
        in_place INTEGER NOT NULL CHECK (in_place IN (0, 1)),
        begun TEXT NOT NULL
    ) STRICT""",
    "CREATE INDEX outing_by_day ON outing (day DESC, id DESC)",
    """CREATE TABLE original (
        id INTEGER PRIMARY KEY,
        outing_id INTEGER NOT NULL REFERENCES outing (id),
        sha256 TEXT NOT NULL,
        bytes INTEGER NOT NULL,
        path TEXT NOT NULL,
        kind TEXT NOT NULL CHECK (kind IN ('picture', 'raw', 'other')),
        arrived TEXT NOT NULL,
        UNIQUE (outing_id, path)
    ) STRICT""",
    # not unique: two files of a card may hold the same, and each is kept
    "CREATE INDEX original_by_content ON original (sha256)",
    """CREATE TABLE copy (
        id INTEGER PRIMARY KEY,
        original_id INTEGER NOT NULL REFERENCES original (id),
        place_id INTEGER NOT NULL REFERENCES place (id),
        path TEXT NOT NULL,
        state TEXT NOT NULL CHECK (state IN ('good', 'changed', 'missing')),
        read_from TEXT NOT NULL CHECK (read_from IN ('disk', 'cache')),
        checked TEXT NOT NULL,
        UNIQUE (original_id, place_id),
        UNIQUE (place_id, path)
    ) STRICT""",
    """CREATE TABLE visit (
        id INTEGER PRIMARY KEY,
        source TEXT NOT NULL,
        device TEXT NOT NULL,
        name TEXT NOT NULL,
        second TEXT,
        begun TEXT NOT NULL,
        ended TEXT
    ) STRICT""",
    """CREATE TABLE card_file (
        visit_id INTEGER NOT NULL REFERENCES visit (id),
        path TEXT NOT NULL,
        bytes INTEGER NOT NULL,
        mtime_ns INTEGER NOT NULL,
        original_id INTEGER REFERENCES original (id),
        trouble TEXT NOT NULL DEFAULT '',
        PRIMARY KEY (visit_id, path)
    ) STRICT""",
    "CREATE INDEX card_file_by_path ON card_file (path, bytes, mtime_ns)",
    "CREATE INDEX card_file_of_original ON card_file (original_id)",
    """CREATE TABLE camera (
        serial TEXT PRIMARY KEY,
        model TEXT NOT NULL,
        shift_s REAL NOT NULL DEFAULT 0
    ) STRICT""",
    """CREATE TABLE frame (
        id INTEGER PRIMARY KEY,
        outing_id INTEGER NOT NULL REFERENCES outing (id),
        name TEXT NOT NULL,
        path TEXT NOT NULL,
        kind TEXT NOT NULL CHECK (kind IN ('jpeg', 'tiff', 'raw')),
        bytes INTEGER NOT NULL,
        mtime_ns INTEGER NOT NULL,
        raw_name TEXT,
        raw_path TEXT,
        original_id INTEGER REFERENCES original (id),
        raw_id INTEGER REFERENCES original (id),
        taken TEXT,
        camera TEXT REFERENCES camera (serial),
        number INTEGER,
        width_px INTEGER NOT NULL,
        height_px INTEGER NOT NULL,
        orientation INTEGER NOT NULL,
        focal_mm REAL,
        f_number REAL,
        exposure_s REAL,
        iso REAL,
        flash_fired INTEGER CHECK (flash_fired IN (0, 1)),
        pixel_pitch_mm REAL,
        UNIQUE (outing_id, name)
    ) STRICT""",
    "CREATE INDEX frame_by_time ON frame (outing_id, taken, name)",
    """CREATE TABLE kit (
        id INTEGER PRIMARY KEY,
        name TEXT NOT NULL,
        toml TEXT NOT NULL UNIQUE,
        added TEXT NOT NULL
    ) STRICT""",
    """CREATE TABLE run (
        id INTEGER PRIMARY KEY,
        outing_id INTEGER NOT NULL REFERENCES outing (id),
        name TEXT NOT NULL,
        kind TEXT NOT NULL CHECK (kind IN ('burst', 'sweep', 'single')),
        reason TEXT NOT NULL,
        UNIQUE (outing_id, name)
    ) STRICT""",
    """CREATE TABLE run_frame (
        run_id INTEGER NOT NULL REFERENCES run (id) ON DELETE CASCADE,
        position INTEGER NOT NULL,
        frame_id INTEGER NOT NULL REFERENCES frame (id),
        pass INTEGER,
        direction TEXT CHECK (direction IN ('away', 'toward', 'unknown')),
        PRIMARY KEY (run_id, position)
    ) STRICT""",
    "CREATE INDEX run_of_frame ON run_frame (frame_id)",
    """CREATE TABLE step (
        id INTEGER PRIMARY KEY,
        outing_id INTEGER NOT NULL REFERENCES outing (id),
        verb TEXT NOT NULL,
        subject TEXT NOT NULL,
        key TEXT NOT NULL UNIQUE,
        version TEXT NOT NULL,
        params TEXT NOT NULL,
        answer TEXT NOT NULL,
        made TEXT NOT NULL,
        ended TEXT NOT NULL
    ) STRICT""",
    "CREATE INDEX step_of_outing ON step (outing_id, verb, subject)",
    """CREATE TABLE eye (
        step_id INTEGER PRIMARY KEY REFERENCES step (id) ON DELETE CASCADE,
        frame_id INTEGER NOT NULL REFERENCES frame (id),
        x_px REAL NOT NULL,
        y_px REAL NOT NULL,
        source TEXT NOT NULL CHECK (source IN ('given', 'proposed'))
    ) STRICT""",
    """CREATE TABLE measure (
        step_id INTEGER NOT NULL REFERENCES step (id) ON DELETE CASCADE,
        frame_id INTEGER NOT NULL REFERENCES frame (id),
        rank INTEGER NOT NULL,
        sharpness REAL NOT NULL,
        offset_mm REAL,
        offset_dof REAL,
        uncertainty_dof REAL,
        keeper INTEGER NOT NULL CHECK (keeper IN (0, 1)),
        faults TEXT NOT NULL,
        PRIMARY KEY (step_id, frame_id)
    ) STRICT""",
    "CREATE INDEX measure_of_frame ON measure (frame_id)",
    """CREATE TABLE plane (
        step_id INTEGER NOT NULL REFERENCES step (id) ON DELETE CASCADE,
        frame_id INTEGER NOT NULL REFERENCES frame (id),
        position_mm REAL,
        position_dof REAL,
        uncertainty_mm REAL,
        uncertainty_dof REAL,
        usable INTEGER NOT NULL CHECK (usable IN (0, 1)),
        faults TEXT NOT NULL,
        PRIMARY KEY (step_id, frame_id)
    ) STRICT""",
    """CREATE TABLE gap (
        step_id INTEGER NOT NULL REFERENCES step (id) ON DELETE CASCADE,
        number INTEGER NOT NULL,
        kind TEXT NOT NULL CHECK (kind IN ('near-end', 'inside', 'far-end')),
        from_mm REAL,
        to_mm REAL,
        from_dof REAL,
        to_dof REAL,
        box_px TEXT,
        PRIMARY KEY (step_id, number)
    ) STRICT""",
    """CREATE TABLE merge (
        step_id INTEGER PRIMARY KEY REFERENCES step (id) ON DELETE CASCADE,
        picture TEXT NOT NULL,
        reference_id INTEGER REFERENCES frame (id),
        crop_px TEXT NOT NULL
    ) STRICT""",
    """CREATE TABLE merge_frame (
        step_id INTEGER NOT NULL REFERENCES merge (step_id) ON DELETE CASCADE,
        position INTEGER NOT NULL,
        frame_id INTEGER NOT NULL REFERENCES frame (id),
        PRIMARY KEY (step_id, position)
    ) STRICT""",
    """CREATE TABLE act (
        id INTEGER PRIMARY KEY,
        what TEXT NOT NULL,
        done TEXT NOT NULL,
        undone TEXT
    ) STRICT""",
    """CREATE TABLE decision (
        act_id INTEGER NOT NULL REFERENCES act (id),
        frame_id INTEGER NOT NULL REFERENCES frame (id),
        verdict TEXT NOT NULL CHECK (verdict IN ('keep', 'maybe', 'drop', 'undecided')),
        PRIMARY KEY (act_id, frame_id)
    ) STRICT""",
    "CREATE INDEX decision_of_frame ON decision (frame_id, act_id)",
    # the last word on each frame, of the acts that were not taken back
    """CREATE VIEW standing AS
        SELECT frame_id, verdict FROM (
            SELECT d.frame_id, d.verdict,
                row_number() OVER (PARTITION BY d.frame_id ORDER BY d.act_id DESC) AS back
            FROM decision d JOIN act a ON a.id = d.act_id WHERE a.undone IS NULL
        ) WHERE back = 1""",
    # what a sidecar said when it was last written or read: tells what another program changed
    """CREATE TABLE sidecar (
        frame_id INTEGER NOT NULL REFERENCES frame (id),
        path TEXT NOT NULL,
        sha256 TEXT NOT NULL,
        verdict TEXT NOT NULL CHECK (verdict IN ('keep', 'maybe', 'drop', 'undecided')),
        written TEXT NOT NULL,
        PRIMARY KEY (frame_id, path)
    ) STRICT""",
    # files of dropped frames; cleared = nothing is left where the file was before
    """CREATE TABLE moved (
        id INTEGER PRIMARY KEY,
        frame_id INTEGER NOT NULL REFERENCES frame (id),
        copy_id INTEGER REFERENCES copy (id),
        home TEXT NOT NULL,
        away TEXT NOT NULL,
        root TEXT NOT NULL,
        sha256 TEXT NOT NULL,
        state TEXT NOT NULL CHECK (state IN ('leaving', 'away', 'returning', 'home')),
        cleared INTEGER NOT NULL CHECK (cleared IN (0, 1)),
        changed TEXT NOT NULL
    ) STRICT""",
    "CREATE INDEX moved_of_frame ON moved (frame_id, state)",
    """CREATE TABLE sighting (
        id INTEGER PRIMARY KEY,
        outing_id INTEGER NOT NULL REFERENCES outing (id),
        frame_id INTEGER REFERENCES frame (id),
        name TEXT NOT NULL,
        note TEXT NOT NULL,
        recorded TEXT NOT NULL
    ) STRICT""",
)

_SIGHTINGS = (
    "DROP TABLE sighting",  # no version of haltere ever wrote into it
    # what is said of a sighting lies in its versions; its occurrenceID never changes
    """CREATE TABLE sighting (
        id INTEGER PRIMARY KEY,
        occurrence TEXT NOT NULL UNIQUE,
        minted TEXT NOT NULL
    ) STRICT""",
    """CREATE TABLE sighting_version (
        sighting_id INTEGER NOT NULL REFERENCES sighting (id),
        version INTEGER NOT NULL,
        state TEXT NOT NULL CHECK (state IN ('stands', 'withdrawn')),
        why TEXT NOT NULL,
        said TEXT NOT NULL,
        written TEXT NOT NULL,
        PRIMARY KEY (sighting_id, version)
    ) STRICT""",
    """CREATE TABLE checklist (
        id INTEGER PRIMARY KEY,
        title TEXT NOT NULL UNIQUE,
        file TEXT NOT NULL,
        sha256 TEXT NOT NULL,
        loaded TEXT NOT NULL
    ) STRICT""",
    """CREATE TABLE taxon (
        id INTEGER PRIMARY KEY,
        checklist_id INTEGER NOT NULL REFERENCES checklist (id) ON DELETE CASCADE,
        key TEXT NOT NULL,
        name TEXT NOT NULL,
        folded TEXT NOT NULL,
        accepted_key TEXT,
        vernacular TEXT NOT NULL,
        folded_vernacular TEXT NOT NULL,
        rest TEXT NOT NULL
    ) STRICT""",
    "CREATE INDEX taxon_by_name ON taxon (folded)",
    "CREATE INDEX taxon_by_key ON taxon (checklist_id, key)",
    # species and places whose exact place never leaves the book
    """CREATE TABLE sensitive (
        id INTEGER PRIMARY KEY,
        name TEXT UNIQUE,
        latitude_deg REAL,
        longitude_deg REAL,
        radius_m REAL,
        grid_deg REAL NOT NULL,
        why TEXT NOT NULL,
        added TEXT NOT NULL,
        CHECK ((name IS NULL) = (latitude_deg IS NOT NULL))
    ) STRICT""",
)

_REPAIRS = (
    # regions of a merged picture taken from one frame; `merge` tells merges in one folder apart
    """CREATE TABLE repair (
        id INTEGER PRIMARY KEY,
        folder TEXT NOT NULL,
        merge TEXT NOT NULL,
        frame TEXT NOT NULL,
        depth REAL,
        polygon TEXT,
        mask BLOB,
        done TEXT NOT NULL,
        undone TEXT,
        CHECK ((polygon IS NULL) <> (mask IS NULL))
    ) STRICT""",
    "CREATE INDEX repair_of_merge ON repair (folder, merge)",
)

_SUPPORTS = (
    # what the hand rested on; an empty run speaks for the whole outing
    """CREATE TABLE support (
        outing_id INTEGER NOT NULL REFERENCES outing (id),
        run TEXT NOT NULL,
        word TEXT NOT NULL,
        written TEXT NOT NULL,
        PRIMARY KEY (outing_id, run)
    ) STRICT""",
)

_FINISHED = (
    # what a finished picture was made with; the last one that stands counts
    """CREATE TABLE finishing (
        id INTEGER PRIMARY KEY,
        picture TEXT NOT NULL,
        settings TEXT NOT NULL,
        done TEXT NOT NULL,
        undone TEXT
    ) STRICT""",
    "CREATE INDEX finishing_of_picture ON finishing (picture)",
)

_JOBS = (
    # beat = when its worker last spoke, seconds since 1970
    """CREATE TABLE job (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        kind TEXT NOT NULL,
        outing_id INTEGER REFERENCES outing (id),
        subject TEXT NOT NULL,
        params TEXT NOT NULL,
        state TEXT NOT NULL DEFAULT 'queued'
            CHECK (state IN ('queued', 'running', 'done', 'failed', 'cancelled')),
        step TEXT NOT NULL DEFAULT '',
        done INTEGER NOT NULL DEFAULT 0,
        total INTEGER NOT NULL DEFAULT 0,
        error TEXT NOT NULL DEFAULT '',
        cancel INTEGER NOT NULL DEFAULT 0 CHECK (cancel IN (0, 1)),
        tries INTEGER NOT NULL DEFAULT 0,
        beat REAL NOT NULL DEFAULT 0,
        asked TEXT NOT NULL
    ) STRICT""",
    "CREATE INDEX job_by_state ON job (state, id)",
)

_STANDS = (
    # the highest stands for its run and verb; an answer asked for again rises, its number stays
    "ALTER TABLE step ADD COLUMN stands INTEGER NOT NULL DEFAULT 0",
    "UPDATE step SET stands = id",
    "CREATE INDEX step_by_stands ON step (stands)",
)

_PLANS = (
    # what was asked and what was answered when a plan was kept; forgotten ones are only hidden
    """CREATE TABLE kept_plan (
        id INTEGER PRIMARY KEY,
        name TEXT NOT NULL,
        kit TEXT NOT NULL,
        said TEXT NOT NULL,
        answer TEXT NOT NULL,
        kept TEXT NOT NULL,
        forgotten TEXT
    ) STRICT""",
)

_MEASURED = (
    # lines along an animal, with what came of them when they were drawn
    """CREATE TABLE measured (
        id INTEGER PRIMARY KEY,
        picture TEXT NOT NULL,
        name TEXT NOT NULL,
        said TEXT NOT NULL,
        done TEXT NOT NULL,
        undone TEXT
    ) STRICT""",
    "CREATE INDEX measured_of_picture ON measured (picture)",
)

MIGRATIONS: tuple[tuple[str, ...], ...] = (
    _FIRST,
    _SIGHTINGS,
    _REPAIRS,
    _SUPPORTS,
    _FINISHED,
    _JOBS,
    _STANDS,
    _PLANS,
    _MEASURED,
)
