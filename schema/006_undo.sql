-- What was said by hand of clips before a change, so that the change can be taken back; of the last hundred changes.
CREATE TABLE change (
  id INTEGER PRIMARY KEY                      -- in the order in which they were made
) STRICT;
CREATE TABLE said_before (
  change_id INTEGER NOT NULL REFERENCES change(id) ON DELETE CASCADE,
  clip_id   INTEGER NOT NULL REFERENCES clip(id) ON DELETE CASCADE,
  marks     TEXT NOT NULL,                    -- JSON: [[field, value, because], …]
  start_us  INTEGER,                          -- of its place by hand, as in placement; NULL where it had none
  speed     REAL,
  drift_ppm REAL,
  spans     TEXT,
  candidates TEXT,
  PRIMARY KEY (change_id, clip_id)
) STRICT, WITHOUT ROWID;
