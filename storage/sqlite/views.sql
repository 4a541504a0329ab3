-- The views for people. Times are ISO 8601 in UTC with the session's shift
-- added, names are readable. They are made anew at each change of version.

-- All flights, void ones too, as people corrected them; rocket_id is that of
-- flight_rows, heard_as the rocket whose samples they are.
DROP VIEW IF EXISTS every_flight;
CREATE VIEW every_flight AS
SELECT f.session, f.rocket AS rocket_id, r.name AS rocket, f.flight, f.liftoff_ns, f.touchdown_ns, f.pad_pressure_pa,
	r.name AS heard_as, -(1 << 62) AS from_ns, 1 << 62 AS to_ns
FROM flights f JOIN rockets r ON r.id = f.rocket
WHERE NOT EXISTS (SELECT 1 FROM corrected_names n WHERE n.session = f.session AND n.rocket = r.name AND n.flight = f.flight)
UNION ALL
SELECT c.session, c.rocket, r.name, c.flight, c.liftoff_ns, c.touchdown_ns, c.pad_pressure_pa, h.name, c.from_ns, c.to_ns
FROM corrected_flights c JOIN rockets r ON r.id = c.rocket JOIN rockets h ON h.id = c.heard_as;

DROP VIEW IF EXISTS every_event;
CREATE VIEW every_event AS
SELECT session, id, ord, rocket, kind, flight, at_ns, called_ns, at_sd_s, altitude_m, altitude_sd_m, speed_mps, note
FROM events e
WHERE NOT EXISTS (SELECT 1 FROM corrected_names n WHERE n.session = e.session AND n.rocket = e.rocket AND n.flight = e.flight)
UNION ALL
SELECT session, id, 0, rocket, kind, flight, at_ns, called_ns, at_sd_s, altitude_m, altitude_sd_m, speed_mps, note
FROM corrected_events;

DROP VIEW IF EXISTS session_list;
CREATE VIEW session_list AS
SELECT name AS session, station,
	strftime('%Y-%m-%dT%H:%M:%S', (epoch_ns + shift_ns + started_ns) / 1000000000, 'unixepoch') || 'Z' AS started,
	strftime('%Y-%m-%dT%H:%M:%S', (epoch_ns + shift_ns + ended_ns) / 1000000000, 'unixepoch') || 'Z' AS ended,
	version, shift_ns / 1e9 AS shift_s, shift_source
FROM sessions;

-- Frames and samples lie in blocks that SQL cannot open; `padlark export` writes
-- them as CSV or Parquet. These two tell what there is; those of flights stand in
-- flight_samples too.
DROP VIEW IF EXISTS frame_list;
CREATE VIEW frame_list AS
SELECT s.name AS session, l.name AS link, SUM(b.count) AS frames, SUM(b.bytes) AS bytes,
	MIN(b.n_first) AS n_first, MAX(b.n_last) AS n_last, COUNT(*) AS blocks
FROM frame_blocks b
JOIN links l ON l.id = b.link
JOIN sessions s ON s.id = l.session
GROUP BY l.id;

DROP VIEW IF EXISTS sample_list;
CREATE VIEW sample_list AS
SELECT s.name AS session, r.name AS rocket, l.name AS link, SUM(b.count) AS samples,
	strftime('%Y-%m-%dT%H:%M:%S', (s.epoch_ns + s.shift_ns + MIN(b.at_first_ns)) / 1000000000, 'unixepoch') || 'Z' AS first_at,
	strftime('%Y-%m-%dT%H:%M:%S', (s.epoch_ns + s.shift_ns + MAX(b.at_last_ns)) / 1000000000, 'unixepoch') || 'Z' AS last_at,
	COUNT(*) AS blocks
FROM sample_blocks b
JOIN rockets r ON r.id = b.rocket
JOIN links l ON l.id = b.link
JOIN sessions s ON s.id = r.session
GROUP BY r.id, l.id;

DROP VIEW IF EXISTS reject_list;
CREATE VIEW reject_list AS
SELECT s.name AS session, l.name AS link, r.n, r.kind, r.reason, r.detail, r.layout, r.field, r.offset
FROM rejects r
JOIN links l ON l.id = r.link
JOIN sessions s ON s.id = l.session;

-- The samples from 10 s before liftoff to 10 s after touchdown. altitude_m is
-- above the pad: the board's own if it sends one, otherwise from the pressure
-- by the hypsometric relation for a lapse of 6.5 K/km (ISO 2533; exponent
-- R L / g = 0.190263) from the pad's pressure and the site's temperature (15 C
-- if not given).
DROP VIEW IF EXISTS flight_samples;
CREATE VIEW flight_samples AS
SELECT s.name AS session, f.rocket, f.flight, l.name AS link, m.n,
	strftime('%Y-%m-%dT%H:%M:%S', (s.epoch_ns + s.shift_ns + m.at_ns) / 1000000000, 'unixepoch')
		|| printf('.%06dZ', (s.epoch_ns + s.shift_ns + m.at_ns) % 1000000000 / 1000) AS at,
	(m.at_ns - f.liftoff_ns) / 1e9 AS t_s,
	COALESCE(m.altitude_m,
		(COALESCE(json_extract(s.site, '$.temperature_c'), 15.0) + 273.15) / 0.0065
		* (1.0 - pow(m.pressure_pa / f.pad_pressure_pa, 0.190263))) AS altitude_m,
	m.pressure_pa, m.temperature_c, m.velocity_mps, m.accel_mps2, m.cell_v, m.release_us, m.release_on,
	m.latitude_deg, m.longitude_deg, m.gps_altitude_m
FROM flight_rows m
JOIN every_flight f ON f.session = m.session AND f.rocket_id = m.rocket AND f.flight = m.flight AND m.at_ns BETWEEN f.from_ns AND f.to_ns
JOIN sessions s ON s.id = m.session
JOIN links l ON l.id = m.link
WHERE NOT COALESCE((SELECT v.void FROM voids v WHERE v.session = m.session AND v.rocket = f.rocket AND v.flight = m.flight ORDER BY v.id DESC LIMIT 1), 0)
ORDER BY s.epoch_ns, m.at_ns;

DROP VIEW IF EXISTS event_list;
CREATE VIEW event_list AS
SELECT s.name AS session, e.rocket, e.flight, e.kind,
	strftime('%Y-%m-%dT%H:%M:%S', (s.epoch_ns + s.shift_ns + e.at_ns) / 1000000000, 'unixepoch')
		|| printf('.%06dZ', (s.epoch_ns + s.shift_ns + e.at_ns) % 1000000000 / 1000) AS at,
	(e.called_ns - e.at_ns) / 1e9 AS called_late_s,
	e.at_sd_s, e.altitude_m, e.altitude_sd_m, e.speed_mps, e.note
FROM every_event e JOIN sessions s ON s.id = e.session
ORDER BY s.epoch_ns, e.at_ns, e.ord;

DROP VIEW IF EXISTS alarm_list;
CREATE VIEW alarm_list AS
SELECT s.name AS session, COALESCE(n.now_rocket, a.rocket) AS rocket, a.link, COALESCE(n.now_flight, a.flight) AS flight, a.kind, a.priority,
	strftime('%Y-%m-%dT%H:%M:%S', (s.epoch_ns + s.shift_ns + a.changed_ns) / 1000000000, 'unixepoch')
		|| printf('.%06dZ', (s.epoch_ns + s.shift_ns + a.changed_ns) % 1000000000 / 1000) AS at,
	CASE WHEN a.active THEN 'active' ELSE 'cleared' END AS state,
	CASE WHEN a.acked THEN 'acknowledged' ELSE 'not acknowledged' END AS acknowledged,
	a.say, a.reason
FROM alarms a JOIN sessions s ON s.id = a.session
LEFT JOIN corrected_names n ON n.session = a.session AND n.rocket = a.rocket AND n.flight = a.flight AND n.from_ns =
	(SELECT MAX(m.from_ns) FROM corrected_names m WHERE m.session = a.session AND m.rocket = a.rocket AND m.flight = a.flight AND m.from_ns <= a.raised_ns)
ORDER BY s.epoch_ns, a.changed_ns, a.ord;

-- Void flights, which a person took for none (table voids), are left out here and
-- in flight_samples.
DROP VIEW IF EXISTS flight_list;
CREATE VIEW flight_list AS
SELECT s.name AS session, f.rocket, f.flight,
	strftime('%Y-%m-%dT%H:%M:%S', (s.epoch_ns + s.shift_ns + f.liftoff_ns) / 1000000000, 'unixepoch') || 'Z' AS launched,
	(SELECT altitude_m FROM every_event e WHERE e.session = f.session AND e.rocket = f.rocket
		AND e.flight = f.flight AND e.kind = 'apogee') AS apogee_m,
	(f.touchdown_ns - f.liftoff_ns) / 1e9 AS duration_s, f.pad_pressure_pa
FROM every_flight f
JOIN sessions s ON s.id = f.session
WHERE NOT COALESCE((SELECT v.void FROM voids v WHERE v.session = f.session AND v.rocket = f.rocket AND v.flight = f.flight ORDER BY v.id DESC LIMIT 1), 0)
ORDER BY s.epoch_ns, f.liftoff_ns;
