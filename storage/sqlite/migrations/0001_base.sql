CREATE TABLE sessions (
	id           INTEGER PRIMARY KEY,
	name         TEXT NOT NULL UNIQUE,
	station      TEXT NOT NULL,
	epoch_ns     INTEGER NOT NULL,            -- UTC, ns since 1970, as recorded
	started_ns   INTEGER NOT NULL,            -- since the epoch
	ended_ns     INTEGER,                     -- since the epoch; NULL while running
	version      TEXT NOT NULL DEFAULT '',    -- of padlark
	config       TEXT NOT NULL DEFAULT '',    -- the configuration file
	site         TEXT NOT NULL DEFAULT '{}',  -- JSON
	shift_ns     INTEGER NOT NULL DEFAULT 0,  -- to be added to every time of the session
	shift_source TEXT NOT NULL DEFAULT ''     -- how the time was fixed
);

CREATE TABLE links (
	id      INTEGER PRIMARY KEY,
	session INTEGER NOT NULL REFERENCES sessions(id),
	name    TEXT NOT NULL,
	baud    INTEGER NOT NULL DEFAULT 0,
	UNIQUE (session, name)
);

CREATE TABLE rockets (
	id      INTEGER PRIMARY KEY,
	session INTEGER NOT NULL REFERENCES sessions(id),
	name    TEXT NOT NULL,
	config  TEXT NOT NULL DEFAULT '{}',       -- JSON
	UNIQUE (session, name)
);

-- The key is the table (WITHOUT ROWID): a link's frames lie together in the
-- order in which they came, and no second index has to be written.
CREATE TABLE frames (
	link         INTEGER NOT NULL REFERENCES links(id),
	n            INTEGER NOT NULL,
	mono_ns      INTEGER NOT NULL,            -- heard, since the epoch
	passed_ns    INTEGER NOT NULL,
	ord          INTEGER NOT NULL,            -- place in the bus's stream
	heard_off_ns INTEGER,                     -- heard minus (epoch + mono), if not 0
	wire         INTEGER NOT NULL,            -- bytes on the wire
	baud         INTEGER,                     -- if not the link's
	rssi_dbm     REAL,
	bytes        BLOB NOT NULL,
	PRIMARY KEY (link, n)
) WITHOUT ROWID;

CREATE TABLE rejects (
	link   INTEGER NOT NULL REFERENCES links(id),
	n      INTEGER NOT NULL,                  -- of the frame
	kind   TEXT NOT NULL,
	reason TEXT NOT NULL,
	detail TEXT NOT NULL,
	layout TEXT NOT NULL,
	field  TEXT NOT NULL,
	offset INTEGER,                           -- byte of the frame, from 0
	PRIMARY KEY (link, n)
) WITHOUT ROWID;

CREATE TABLE samples (
	rocket         INTEGER NOT NULL REFERENCES rockets(id),
	link           INTEGER NOT NULL REFERENCES links(id),
	n              INTEGER NOT NULL,
	boot           INTEGER NOT NULL,
	seq            INTEGER,
	clock_us       INTEGER,
	at_ns          INTEGER NOT NULL,          -- measured, since the epoch
	mono_ns        INTEGER NOT NULL,          -- heard, since the epoch
	passed_ns      INTEGER NOT NULL,
	link_rssi_dbm  REAL,
	pressure_pa    REAL,
	temperature_c  REAL,
	altitude_m     REAL,
	velocity_mps   REAL,
	accel_mps2     REAL,
	accel_x_mps2   REAL,
	accel_y_mps2   REAL,
	accel_z_mps2   REAL,
	cell_v         REAL,
	release_us     REAL,
	release_on     REAL,
	armed          REAL,
	latitude_deg   REAL,
	longitude_deg  REAL,
	gps_altitude_m REAL,
	gps_fix        REAL,
	rssi_dbm       REAL,
	snr_db         REAL,
	other          TEXT,                      -- JSON object of all other channels
	PRIMARY KEY (rocket, link, n)
) WITHOUT ROWID;

CREATE TABLE events (
	session       INTEGER NOT NULL REFERENCES sessions(id),
	id            TEXT NOT NULL,
	ord           INTEGER NOT NULL,
	rocket        TEXT NOT NULL,
	kind          TEXT NOT NULL,
	flight        INTEGER NOT NULL,
	at_ns         INTEGER NOT NULL,
	called_ns     INTEGER NOT NULL,
	at_sd_s       REAL,
	altitude_m    REAL,
	altitude_sd_m REAL,
	speed_mps     REAL,
	note          TEXT NOT NULL,
	PRIMARY KEY (session, id)
) WITHOUT ROWID;

CREATE TABLE alarms (
	session    INTEGER NOT NULL REFERENCES sessions(id),
	id         TEXT NOT NULL,
	change     INTEGER NOT NULL,
	ord        INTEGER NOT NULL,
	rocket     TEXT NOT NULL,
	link       TEXT NOT NULL,
	flight     INTEGER NOT NULL,
	kind       TEXT NOT NULL,
	priority   INTEGER NOT NULL,
	active     INTEGER NOT NULL,
	acked      INTEGER NOT NULL,
	raised_ns  INTEGER NOT NULL,
	changed_ns INTEGER NOT NULL,
	say        TEXT NOT NULL,
	reason     TEXT NOT NULL,
	PRIMARY KEY (session, id, change)
) WITHOUT ROWID;
