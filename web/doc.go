// Package web serves the station's pages and its HTTP API.
//
// It owns the board and the other pages, the live stream, the replay in the
// page, the access rules and the metrics. Everything that a browser needs is
// embedded in the binary; nothing is fetched from anywhere else.
//
// What flows through: messages of the bus come in by Live and are kept by the
// hub as the newest picture (one entry per rocket, link and alarm). Each viewer
// of the live stream has its own cursor over that picture and takes what
// changed at its own pace, so that a slow phone misses intermediate values and
// holds nobody up. Everything older comes from Archive and Flights.
//
// What it reads and what programs get is metric. units.go and static/units.js
// write it for a person in the units that the person chose, sentences included.
//
// The package reads through the small interfaces in seams.go and never writes
// to the archive itself: a person's notes, acknowledgements and time offers go
// out by Notes, Acker and Clock.
//
// It may import ingest, decode and flight (types only). The adapters that fit
// the bus and the archive to the seams are in web/wire.
package web
