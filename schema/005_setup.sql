-- How things are on the set: said once, true for every clip recorded from then on until the next row.
CREATE TABLE setup (
  id       INTEGER PRIMARY KEY,               -- in the order in which they were said
  at       INTEGER NOT NULL,                  -- from when on; of two at one moment the one said last holds
  kind     TEXT CHECK (kind IN ('performance', 'b-roll', 'slow-mo')),
  members  TEXT NOT NULL DEFAULT '[]',        -- JSON: names
  sections TEXT NOT NULL DEFAULT '[]',        -- the same
  look     TEXT,
  angle    TEXT
) STRICT;

-- How far a camera's clock is ahead of this machine's.
CREATE TABLE camera_clock (
  camera   TEXT PRIMARY KEY,                  -- as clip.camera
  ahead_us INTEGER NOT NULL,                  -- behind where negative
  known_by TEXT NOT NULL CHECK (known_by IN ('hand', 'slate'))
) STRICT, WITHOUT ROWID;
