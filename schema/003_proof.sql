-- What a verdict rests on: whose catalogue this is, which folder a destination is, which bytes a copy was read back with.

-- This catalogue, told from every other; one row.
CREATE TABLE identity (
  id TEXT NOT NULL                           -- 32 hex digits, by chance
) STRICT;
INSERT INTO identity (id) VALUES (lower(hex(randomblob(16))));

-- Every copy of this catalogue that was left at a destination had a stamp of its own. One that bears another stamp was
-- left by a catalogue that went on elsewhere.
CREATE TABLE kept (
  stamp TEXT PRIMARY KEY,                    -- 32 hex digits, by chance
  at    INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
INSERT INTO kept (stamp, at) SELECT id, 0 FROM identity;

ALTER TABLE destination ADD COLUMN mark TEXT NOT NULL DEFAULT '';   -- the id in the folder itself; '' until it had one
ALTER TABLE destination ADD COLUMN home BLOB NOT NULL DEFAULT x'';  -- the shoot's folder in it; empty until it has one

-- What was read back when the copy was found equal. It counts only while that is the file's. No older row tells whether a
-- digest was moved by a later reading: copies made before this step ask for `everytake verify`.
ALTER TABLE copy ADD COLUMN digest BLOB;
UPDATE copy SET state = 'copied' WHERE state = 'verified';

-- A file that was met again elsewhere: on the same card under another folder, or in a copy of the card. All its bytes
-- were read there and are the file's.
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

-- A verified copy is one that was read back with the file's digest: no write can make it otherwise.
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
