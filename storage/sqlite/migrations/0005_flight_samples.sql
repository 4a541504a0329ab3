-- The samples of flights once more, in rows: SQL cannot open the blocks, and a
-- flight is what people ask for. They are written when a flight is over. Of the
-- long waiting in between, blocks and padlark export know.
CREATE TABLE flight_rows (
	session        INTEGER NOT NULL REFERENCES sessions(id),
	rocket         INTEGER NOT NULL REFERENCES rockets(id),
	flight         INTEGER NOT NULL,
	link           INTEGER NOT NULL REFERENCES links(id),
	n              INTEGER NOT NULL,          -- of the frame
	at_ns          INTEGER NOT NULL,          -- measured, since the epoch
	pressure_pa    REAL,
	temperature_c  REAL,
	altitude_m     REAL,
	velocity_mps   REAL,
	accel_mps2     REAL,
	cell_v         REAL,
	release_us     REAL,
	release_on     REAL,
	latitude_deg   REAL,
	longitude_deg  REAL,
	gps_altitude_m REAL,
	PRIMARY KEY (session, rocket, flight, link, n)
) WITHOUT ROWID;
