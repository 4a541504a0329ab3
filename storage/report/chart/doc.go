// Package chart draws values over an axis for the printed pages and the files of
// the commands: one way to draw, as SVG for pages and as PNG. It knows nothing of
// rockets. All lengths are in points (1/72 inch), y downwards.
//
//	Plot (what is drawn) -> Sheet (plots below each other) -> SVG, PNG
package chart
