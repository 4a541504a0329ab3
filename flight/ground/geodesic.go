package ground

import "math"

// The WGS 84 ellipsoid (NGA.STND.0036): half axis in m, and flattening.
const (
	halfAxis   = 6378137.0
	flattening = 1 / 298.257223563
)

const rad = math.Pi / 180

// Place is a point on the ground, in degrees, north and east positive.
type Place struct{ LatitudeDeg, LongitudeDeg float64 }

// reduced is the sine and cosine of a latitude on the auxiliary sphere.
func reduced(latDeg float64) (sin, cos float64) {
	t := (1 - flattening) * math.Tan(latDeg*rad)
	cos = 1 / math.Sqrt(1+t*t)
	return t * cos, cos
}

// The series of T. Vincenty, "Direct and inverse solutions of geodesics on the
// ellipsoid with application of nested equations", Survey Review 23 (1975),
// equations 3, 4, 6 and 10: they err by less than 0.1 mm. The square of u is of
// the second eccentricity times the cosine of the azimuth at the equator.
func series(u2 float64) (a, b float64) {
	a = 1 + u2/16384*(4096+u2*(-768+u2*(320-175*u2)))
	b = u2 / 1024 * (256 + u2*(-128+u2*(74-47*u2)))
	return a, b
}

func bend(b, sinS, cosS, mid float64) float64 {
	return b * sinS * (mid + b/4*(cosS*(2*mid*mid-1)-b/6*mid*(4*sinS*sinS-3)*(4*mid*mid-3)))
}

// equator returns C, by which the longitudes on sphere and ellipsoid differ.
func equator(cos2 float64) float64 {
	return flattening / 16 * cos2 * (4 + flattening*(4-3*cos2))
}

func u2(cos2 float64) float64 {
	const polar = halfAxis * (1 - flattening)
	return cos2 * (halfAxis*halfAxis - polar*polar) / (polar * polar)
}

// mostTurns bounds the iterations, which do not settle between opposite points of
// the earth.
const mostTurns = 100

// inverse is the geodesic from one place to another: its length in m and its
// azimuth at the start in degrees clockwise from true north, 0 to 360. Both are
// NaN for places that lie opposite on the earth.
func inverse(from, to Place) (distanceM, azimuthDeg float64) {
	if from == to {
		return 0, 0
	}
	sin1, cos1 := reduced(from.LatitudeDeg)
	sin2, cos2 := reduced(to.LatitudeDeg)
	turn := math.Remainder(to.LongitudeDeg-from.LongitudeDeg, 360) * rad
	lambda := turn
	for range mostTurns {
		sinL, cosL := math.Sincos(lambda)
		x, y := cos2*sinL, cos1*sin2-sin1*cos2*cosL
		sinS, cosS := math.Hypot(x, y), sin1*sin2+cos1*cos2*cosL
		if sinS == 0 {
			return 0, 0
		}
		s := math.Atan2(sinS, cosS)
		sinA := cos1 * cos2 * sinL / sinS
		cosA2 := 1 - sinA*sinA
		mid := 0.0 // on the equator
		if cosA2 > 1e-15 {
			mid = cosS - 2*sin1*sin2/cosA2
		}
		c, last := equator(cosA2), lambda
		lambda = turn + (1-c)*flattening*sinA*(s+c*sinS*(mid+c*cosS*(2*mid*mid-1)))
		if math.Abs(lambda-last) > 1e-12 {
			continue
		}
		a, b := series(u2(cosA2))
		return halfAxis * (1 - flattening) * a * (s - bend(b, sinS, cosS, mid)), degrees(math.Atan2(x, y))
	}
	return math.NaN(), math.NaN()
}

// direct is the place at the end of a geodesic of a length in m that starts with
// an azimuth in degrees.
func direct(from Place, distanceM, azimuthDeg float64) Place {
	sin1, cos1 := reduced(from.LatitudeDeg)
	sinZ, cosZ := math.Sincos(azimuthDeg * rad)
	s1 := math.Atan2(sin1, cos1*cosZ)
	sinA := cos1 * sinZ
	cosA2 := 1 - sinA*sinA
	a, b := series(u2(cosA2))
	plain := distanceM / (halfAxis * (1 - flattening) * a)
	s := plain
	var sinS, cosS, mid float64
	for range mostTurns {
		last := s
		mid = math.Cos(2*s1 + s)
		sinS, cosS = math.Sincos(s)
		if s = plain + bend(b, sinS, cosS, mid); math.Abs(s-last) < 1e-13 {
			break
		}
	}
	sinS, cosS = math.Sincos(s)
	mid = math.Cos(2*s1 + s)
	across := sin1*sinS - cos1*cosS*cosZ
	lat := math.Atan2(sin1*cosS+cos1*sinS*cosZ, (1-flattening)*math.Hypot(sinA, across))
	lambda := math.Atan2(sinS*sinZ, cos1*cosS-sin1*sinS*cosZ)
	c := equator(cosA2)
	turn := lambda - (1-c)*flattening*sinA*(s+c*sinS*(mid+c*cosS*(2*mid*mid-1)))
	return Place{lat / rad, math.Remainder(from.LongitudeDeg+turn/rad, 360)}
}

// Plane is a place in m east and north of another: geodesic length and azimuth
// laid out flat, true to both.
func Plane(from, to Place) (eastM, northM float64) {
	d, azimuth := inverse(from, to)
	sin, cos := math.Sincos(azimuth * rad)
	return d * sin, d * cos
}

// ofPlane is the place that Plane gives these numbers for.
func ofPlane(from Place, eastM, northM float64) Place {
	return direct(from, math.Hypot(eastM, northM), bearing(eastM, northM))
}

// bearing in degrees, 0 to 360.
func bearing(eastM, northM float64) float64 { return degrees(math.Atan2(eastM, northM)) }

func degrees(angle float64) float64 {
	d := angle / rad
	if d < 0 {
		d += 360
	}
	return d
}
