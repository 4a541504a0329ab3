-- How far the archive has followed the session's journal, in bytes: stored with
-- the rows that came from there.
ALTER TABLE sessions ADD COLUMN journal_at INTEGER NOT NULL DEFAULT 0;
