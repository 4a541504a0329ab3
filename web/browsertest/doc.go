// Package browsertest opens pages in a headless browser for tests, which alone import it.
//
// It owns finding the browser, the one browser of a test, its tabs and what a
// test does in them: load, click, type, wait for an expression to hold, look
// at what is written, keep pictures. A tab remembers what went wrong in it (a
// console error, an exception, a request to another host), so that a test can
// ask for quiet at its end.
//
// What flows through: test code calls a Tab, the Tab speaks to the browser by
// its debugging protocol. Waiting is always for an event of the page, never a
// sleep. Where no browser is installed a test skips and says so; with
// PADLARK_CI=1 that is a failure. PADLARK_SCREENSHOTS names the folder in which
// pictures are kept; without it none are taken.
//
// It imports nothing of ours, and only tests import it.
package browsertest
