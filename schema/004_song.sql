-- How long a song file is, as it was measured last: every command asks, and decoding takes a program of its own.
CREATE TABLE song_length (
  file      BLOB PRIMARY KEY,                -- its path, absolute
  size      INTEGER NOT NULL,
  mtime_ns  INTEGER NOT NULL,
  length_us INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
