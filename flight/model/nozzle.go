package model

import (
	"math"

	"padlark/flight/atmos"
)

const (
	gasR = atmos.GasConstantISO
	gasK = 1.4 // ratio of the specific heats of air
)

// criticalRatio is the pressure ratio at which the flow through a converging
// nozzle chokes: (2/(k+1))^(k/(k-1)), 0.5283 for air.
var criticalRatio = math.Pow(2/(gasK+1), gasK/(gasK-1))

// flowFactor is mdot sqrt(R T0) / (A p0) of a choked nozzle.
var flowFactor = math.Sqrt(gasK) * math.Pow(2/(gasK+1), (gasK+1)/(2*(gasK-1)))

// airJet gives mass flow (kg/s) and thrust (N) of air at rest at p (Pa) and
// temperature t (K) that leaves through a converging nozzle of the given area
// (m2) into pa: isentropic, choked above pa/criticalRatio.
func airJet(p, t, pa, area float64) (flow, thrust float64) {
	if p <= pa || t <= 0 {
		return 0, 0
	}
	r := pa / p
	if r <= criticalRatio {
		flow = flowFactor * area * p / math.Sqrt(gasR*t)
		throat := math.Sqrt(2 * gasK / (gasK + 1) * gasR * t)
		return flow, flow*throat + (p*criticalRatio-pa)*area
	}
	root := power(r, 1/gasK) // density ratio
	speed := math.Sqrt(2 * gasK / (gasK - 1) * gasR * t * (1 - r/root))
	flow = p / (gasR * t) * root * area * speed
	return flow, flow * speed
}
