// Package wire fits the parts of a station to the seams of package web: the
// bus, the archive, the watcher's engine, the smoother and the model. It holds
// adapters only; whoever runs a station builds them and hands them to web.New.
//
// It may import bus, decode, flight, ingest, storage, watch and web.
package wire
