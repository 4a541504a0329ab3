// Package deploy holds what is needed to run padlark elsewhere than in a shell:
// container, compose file's parts, service unit, device rule, dashboards. There
// is no code in it, only tests that all of that works: each query of each
// dashboard runs on a real server over a demo session. It imports, in tests, what
// they need.
package deploy
