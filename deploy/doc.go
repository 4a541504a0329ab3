// Package deploy holds what is needed to run padlark elsewhere than in a shell:
// packages for Debian and archives for others (package), container, compose
// file's parts, service units, device rule, dashboards, rules for a monitoring
// server, C sources for a board (firmware), and the guides for whoever runs a station. The only code is notices,
// which lists what is linked in and under which licence. Its tests show that all
// of it works: each query of each dashboard runs on a real server over a demo
// session, and the package is installed, updated and purged in a fresh Debian.
// It imports, in tests, what they need.
package deploy
