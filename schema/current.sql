CREATE TABLE roll (
  id         INTEGER PRIMARY KEY,
  name       TEXT NOT NULL UNIQUE,           -- 'R001'
  opened_at  INTEGER NOT NULL,               -- microseconds since 1970, UTC; so are all *_at
  card       TEXT NOT NULL,                  -- names the card: its filesystem and the folder in it; a hint, no proof
  card_root  BLOB NOT NULL,                  -- where it was mounted
  card_label TEXT NOT NULL,
  card_uuid  TEXT NOT NULL,                  -- of its filesystem; '' where it has none
  identity   TEXT NOT NULL                   -- hash of the listing, for people to compare
) STRICT;
CREATE TABLE file (
  id       INTEGER PRIMARY KEY,
  roll_id  INTEGER NOT NULL REFERENCES roll(id),
  path     BLOB NOT NULL,
  size     INTEGER NOT NULL CHECK (size >= 0),
  mtime_ns INTEGER NOT NULL,
  sample   BLOB,                             -- XXH3-128 of its first and last MiB; NULL until it was read
  digest   BLOB,                             -- XXH3-128 of all of it; NULL until it was read to its end
  readings INTEGER NOT NULL DEFAULT 0,       -- whole readings of the card that gave this digest
  suspect  TEXT,                             -- what went wrong while reading it; NULL once read well
  seen_at  INTEGER NOT NULL,                 -- when an offload last saw it on the card: one time for a whole listing
  UNIQUE (roll_id, path)
) STRICT;
CREATE TABLE destination (
  id        INTEGER PRIMARY KEY,
  name      TEXT NOT NULL UNIQUE,
  path      BLOB NOT NULL,                   -- where it was last
  disk      TEXT NOT NULL,                   -- names the disk beneath; '' where not known
  fs_uuid   TEXT NOT NULL
, mark TEXT NOT NULL DEFAULT '', home BLOB NOT NULL DEFAULT x'') STRICT;
CREATE TABLE copy (
  file_id        INTEGER NOT NULL REFERENCES file(id),
  destination_id INTEGER NOT NULL REFERENCES destination(id),
  state          TEXT NOT NULL CHECK (state IN ('planned', 'copied', 'verified', 'failed')),
  stored_path    BLOB NOT NULL,              -- relative to the destination's folder
  readback       TEXT CHECK (readback IN ('direct', 'dropped', 'cached')),
  verified_at    INTEGER,
  size           INTEGER,                    -- as it stood there when verified
  mtime_ns       INTEGER,
  ctime_ns       INTEGER,
  inode          INTEGER, digest BLOB,
  PRIMARY KEY (file_id, destination_id),
  CHECK (state != 'verified' OR (readback IS NOT NULL AND verified_at IS NOT NULL AND size IS NOT NULL))
) STRICT, WITHOUT ROWID;
CREATE TABLE clip (
  id           INTEGER PRIMARY KEY,
  roll_id      INTEGER NOT NULL REFERENCES roll(id),
  name         TEXT NOT NULL,
  file_id      INTEGER NOT NULL UNIQUE REFERENCES file(id),  -- its first video
  studied_at   INTEGER,                      -- NULL until it was looked at; the columns below are NULL where unknown
  duration_us  INTEGER,
  frames       INTEGER,
  frame_rate   TEXT,                         -- '24000/1001'
  capture_rate TEXT,
  width        INTEGER,
  height       INTEGER,
  rotation     INTEGER,
  codec        TEXT,
  bit_depth    INTEGER,
  bit_rate     INTEGER,
  gamma        TEXT,
  gamut        TEXT,
  timecode     TEXT,
  drop_frame   INTEGER,
  recorded_at  INTEGER,
  camera       TEXT,
  lens         TEXT,
  audio        INTEGER,
  sound_samples  INTEGER,                    -- decoded, of all channels; NULL until it was listened to
  sound_peak_db  REAL,                       -- beside full scale
  sound_clipped  REAL,                       -- share of samples, 0 to 1
  frames_seen    INTEGER,                    -- decoded for its strip of frames; NULL until that was made
  frames_black   INTEGER,                    -- of these
  origin       TEXT NOT NULL DEFAULT '{}'    -- JSON: field name to where its value comes from
, iso           INTEGER, shutter       TEXT, white_balance INTEGER) STRICT;
CREATE TABLE clip_file (
  clip_id INTEGER NOT NULL REFERENCES clip(id) ON DELETE CASCADE,
  file_id INTEGER NOT NULL REFERENCES file(id),
  role    TEXT NOT NULL CHECK (role IN ('video', 'audio', 'sidecar', 'proxy', 'thumbnail')),
  place   INTEGER NOT NULL,                  -- order within the clip
  PRIMARY KEY (clip_id, file_id)
) STRICT, WITHOUT ROWID;
CREATE TABLE mark (
  clip_id INTEGER NOT NULL REFERENCES clip(id) ON DELETE CASCADE,
  field   TEXT NOT NULL CHECK (field IN ('kind', 'member', 'section', 'look', 'angle', 'note', 'rating')),
  value   TEXT NOT NULL,                     -- '' says "none", or of a kind that nothing can be told
  by      TEXT NOT NULL CHECK (by IN ('hand', 'setup', 'rule')),
  because TEXT NOT NULL DEFAULT '',
  PRIMARY KEY (clip_id, field, by, value)
) STRICT, WITHOUT ROWID;
CREATE TABLE placement (
  clip_id    INTEGER NOT NULL REFERENCES clip(id) ON DELETE CASCADE,
  by         TEXT NOT NULL CHECK (by IN ('hand', 'rule')),
  state      TEXT NOT NULL CHECK (state IN ('placed', 'ambiguous', 'none', 'no_audio')),
  start_us   INTEGER NOT NULL,
  speed      REAL NOT NULL,
  drift_ppm  REAL NOT NULL,
  confidence REAL,
  spans      TEXT NOT NULL,                  -- JSON: [[start_us, end_us], …]
  candidates TEXT NOT NULL,                  -- JSON: [[start_us, confidence], …]; the first is what the sound says
  settled_by TEXT NOT NULL DEFAULT '',       -- the neighbour that told which candidate it is: 'R001/C0003'
  PRIMARY KEY (clip_id, by)
) STRICT, WITHOUT ROWID;
CREATE TABLE problem (
  id             INTEGER PRIMARY KEY,
  roll_id        INTEGER REFERENCES roll(id),
  clip_id        INTEGER REFERENCES clip(id) ON DELETE CASCADE,
  path           BLOB NOT NULL DEFAULT x'',
  destination    TEXT NOT NULL DEFAULT '',
  code           TEXT NOT NULL,
  message        TEXT NOT NULL,
  at             INTEGER NOT NULL
) STRICT;
CREATE TABLE lease (
  card  TEXT PRIMARY KEY,
  pid   INTEGER NOT NULL,
  since INTEGER NOT NULL,
  boot  TEXT NOT NULL,                       -- the boot the process lives in
  born  INTEGER NOT NULL                     -- its start time in clock ticks: a number used again is another process
) STRICT;
CREATE INDEX file_by_path ON file(path);
CREATE INDEX copy_by_destination ON copy(destination_id, state);
CREATE INDEX clip_by_name ON clip(name);
CREATE INDEX clip_by_roll ON clip(roll_id);
CREATE INDEX clip_file_by_file ON clip_file(file_id);
CREATE INDEX problem_by_roll ON problem(roll_id);
CREATE INDEX problem_by_clip ON problem(clip_id);
CREATE TABLE identity (
  id TEXT NOT NULL                           -- 32 hex digits, by chance
) STRICT;
CREATE TABLE kept (
  stamp TEXT PRIMARY KEY,                    -- 32 hex digits, by chance
  at    INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE TABLE sighting (
  card     TEXT NOT NULL,                    -- as roll.card
  path     BLOB NOT NULL,                    -- from there
  mtime_ns INTEGER NOT NULL,
  file_id  INTEGER NOT NULL REFERENCES file(id),
  seen_at  INTEGER NOT NULL,                 -- as file.seen_at
  PRIMARY KEY (card, path)
) STRICT, WITHOUT ROWID;
CREATE INDEX sighting_by_file ON sighting(file_id);
CREATE INDEX file_by_size ON file(size);
CREATE TRIGGER file_digest_moves AFTER UPDATE OF digest ON file WHEN old.digest IS NOT new.digest
BEGIN
  UPDATE copy SET state = 'failed' WHERE file_id = new.id AND state = 'verified' AND digest IS NOT new.digest;
  DELETE FROM sighting WHERE file_id = new.id;  -- what was met elsewhere had the other bytes
END;
CREATE TRIGGER copy_is_made AFTER INSERT ON copy
WHEN new.state = 'verified' AND new.digest IS NOT coalesce((SELECT digest FROM file WHERE id = new.file_id), x'')
BEGIN
  SELECT RAISE(ABORT, 'a verified copy needs the digest of its file');
END;
CREATE TRIGGER copy_is_changed AFTER UPDATE ON copy
WHEN new.state = 'verified' AND new.digest IS NOT coalesce((SELECT digest FROM file WHERE id = new.file_id), x'')
BEGIN
  SELECT RAISE(ABORT, 'a verified copy needs the digest of its file');
END;
CREATE TABLE song_length (
  file      BLOB PRIMARY KEY,                -- its path, absolute
  size      INTEGER NOT NULL,
  mtime_ns  INTEGER NOT NULL,
  length_us INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE TABLE setup (
  id       INTEGER PRIMARY KEY,               -- in the order in which they were said
  at       INTEGER NOT NULL,                  -- from when on; of two at one moment the one said last holds
  kind     TEXT CHECK (kind IN ('performance', 'b-roll', 'slow-mo')),
  members  TEXT NOT NULL DEFAULT '[]',        -- JSON: names
  sections TEXT NOT NULL DEFAULT '[]',        -- the same
  look     TEXT,
  angle    TEXT
) STRICT;
CREATE TABLE camera_clock (
  camera   TEXT PRIMARY KEY,                  -- as clip.camera
  ahead_us INTEGER NOT NULL,                  -- behind where negative
  known_by TEXT NOT NULL CHECK (known_by IN ('hand', 'slate'))
) STRICT, WITHOUT ROWID;
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
