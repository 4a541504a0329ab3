package flight

// Where a Position or a Landing is known from.
const (
	FromGPS  = "gps"
	FromWind = "wind" // drift by the site's wind alone
)

// Position is where a rocket is, seen from its pad. Places are on WGS 84; sd and
// ellipse are about the pad as the same receiver put it, if it had a fix there.
type Position struct {
	RangeM     float64 `json:"range_m"`     // along the ground
	BearingDeg float64 `json:"bearing_deg"` // clockwise from true north, 0 to 360
	EastM      float64 `json:"east_m"`
	NorthM     float64 `json:"north_m"`
	// ElevationDeg is how far above the horizon it is seen; nil on the ground
	// and where the height is not known.
	ElevationDeg *float64 `json:"elevation_deg"`
	// LatitudeDeg and LongitudeDeg are nil where not even the pad has any.
	LatitudeDeg  *float64 `json:"latitude_deg"`
	LongitudeDeg *float64 `json:"longitude_deg"`
	SDM          float64  `json:"sd_m"` // in each direction
	Source       string   `json:"source"`
}

// Landing is where a rocket came down or will, as Position, with the half axes of
// the ellipse that holds it in 95 of 100.
type Landing struct {
	LatitudeDeg  *float64 `json:"latitude_deg"`
	LongitudeDeg *float64 `json:"longitude_deg"`
	EastM        float64  `json:"east_m"`
	NorthM       float64  `json:"north_m"`
	RangeM       float64  `json:"range_m"`
	BearingDeg   float64  `json:"bearing_deg"`
	AlongM       float64  `json:"along_m"`   // half axis in the direction of AngleDeg
	AcrossM      float64  `json:"across_m"`  // half axis across it
	AngleDeg     float64  `json:"angle_deg"` // clockwise from true north
	Source       string   `json:"source"`
}
