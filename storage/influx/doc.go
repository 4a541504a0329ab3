// Package influx copies what a station hears and finds to a time-series server
// that takes InfluxDB line protocol by its v2 write address: InfluxDB 2,
// InfluxDB 1.8, VictoriaMetrics. Dashboards read it there. The archive stays
// the truth: whatever the server holds can be sent again from it.
//
// It imports decode and flight (types), storage/journal and storage/sqlite (the
// archive).
//
//	journal -> Follower -> Writer -> server    while it runs
//	archive -> Backfill -> server              afterwards
//
// # Nothing lost, nothing doubled
//
// The writer goes on in the journal when the server has taken a batch, or when
// the lines that it will never take have been set aside in a file with the
// reason. While the server is away, busy, full or refuses the token, the batch
// stays in the journal and is tried again with a growing pause; one alarm says
// so. A point is keyed by measurement, tags and time, and all of these follow
// from the journal alone, so sending twice changes nothing.
//
// A small file says how far each session is on the server. Until its journal has
// been sent to the end that file says that something may be missing, so that
// whatever ends the program, the next one goes on: in the journal where the last
// was, if it goes on with the same session, and else by sending the session
// again from the archive, which the station brings up to date first.
//
// # Schema
//
// Tags: rocket, link, station, session; kind as well for event and alarm. A tag
// without a value is left out.
//
//	sample  every sample. Fields: the channels by their names (float), n, boot,
//	        seq, clock_us (integer), link_rssi_dbm (float).
//	event   every event. Fields: id, note (string), flight (integer),
//	        called_late_s, at_sd_s, altitude_m, altitude_sd_m, speed_mps (float).
//	alarm   every change of an alarm. Fields: id, say, reason (string), change,
//	        flight, priority (integer), active, acked (boolean).
//	flight  one point per flight, at its liftoff. Fields: the quantities of
//	        flight.Result by their JSON names; times as <name>_ns since 1970.
//	link    one point per link and session, at the session's start. Fields:
//	        frames, rejects, reject_<reason> (integer).
//
// sample, event and alarm follow the journal. flight and link are worked out from
// the archive: a minute after a touchdown, at the end of the session and by
// Backfill.
//
// A flight that a person takes for none (padlark void) has neither flight nor event
// points. What is said, or corrected, after a session was sent is seen by the next
// Backfill, or within a minute by the writer of a later session; its points are
// deleted on the server then and sent again.
//
// # Time
//
// The time of a point is when the thing was (Sample.At, Event.At,
// Alarm.ChangedAt) in whole microseconds, with the session's time shift. The
// last three digits, the nanoseconds, tell apart what happened within one
// microsecond: the frame's number for a sample, a hash of the natural key for
// the rest. An estimate of when something was measured is never that fine, and
// so two frames with the same time stay two points, whichever way and however
// often they are sent.
//
// VictoriaMetrics keeps whole milliseconds only, one series per field (such as
// sample_pressure_pa), and no texts. It merges what is sent twice when it is
// started with -dedup.minScrapeInterval=1ms, and refuses times that are far in
// the future.
//
// When a session's time is fixed while it runs, points from then on have the new
// time; after the session's end its points are deleted on the server and sent
// again.
package influx
