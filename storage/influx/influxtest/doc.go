// Package influxtest runs real time-series servers for tests: InfluxDB (influxd
// of version 1.8) and VictoriaMetrics, and a network path between them and the
// program that can be cut. It imports nothing of ours and is imported by tests
// only.
package influxtest
