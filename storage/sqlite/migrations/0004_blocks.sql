-- Frames and samples lie in blocks of many rows (package block says how). What
-- stands in a row beside its block is what chooses blocks without opening them.
-- Rows are numbered as they come, so that a commit fills pages at the table's
-- end instead of touching one for each rocket; the index is small.
--
-- The tables frames and samples of older versions are packed into blocks after
-- this step and then dropped, see pack.go.
CREATE TABLE frame_blocks (
	id              INTEGER PRIMARY KEY,
	link            INTEGER NOT NULL REFERENCES links(id),
	n_first         INTEGER NOT NULL,         -- of the frames; blocks of a link do not overlap
	n_last          INTEGER NOT NULL,
	count           INTEGER NOT NULL,         -- of frames
	bytes           INTEGER NOT NULL,         -- of the frames themselves, together
	passed_first_ns INTEGER NOT NULL,         -- lowest and highest
	passed_last_ns  INTEGER NOT NULL,
	data            BLOB NOT NULL,
	UNIQUE (link, n_first)
);

CREATE TABLE sample_blocks (
	id              INTEGER PRIMARY KEY,
	rocket          INTEGER NOT NULL REFERENCES rockets(id),
	link            INTEGER NOT NULL REFERENCES links(id),
	n_first         INTEGER NOT NULL,         -- of the frames they are from
	n_last          INTEGER NOT NULL,
	count           INTEGER NOT NULL,         -- of samples
	at_first_ns     INTEGER NOT NULL,         -- measured, since the epoch: lowest and highest
	at_last_ns      INTEGER NOT NULL,
	passed_first_ns INTEGER NOT NULL,
	passed_last_ns  INTEGER NOT NULL,
	data            BLOB NOT NULL,
	UNIQUE (rocket, link, n_first)
);
