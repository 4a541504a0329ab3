// Package atmos is the air: the standard atmosphere, the height above the pad
// from a pressure ratio, and how far such a height can be trusted.
//
// It owns the standard atmosphere of ISO 2533:1975 and the US Standard
// Atmosphere 1976 up to 20 km (standard.go), moisture (humid.go), gravity
// (gravity.go), the column of air over a pad (column.go) and the uncertainty of
// a barometric height (budget.go). It imports nothing of ours, keeps no state
// and allocates nothing after NewColumn.
//
// Three heights are told apart. Geometric height is measured with a tape.
// Geopotential height is the energy needed to lift a kilogram, divided by the
// standard gravity; it is the height in which the standard is written, and at
// 1500 m it is 0.35 m less. Pressure altitude is the geopotential height at
// which the standard atmosphere has the pressure; on a warm day it is too low.
package atmos
