package tune

import "math"

// z95 is the 97.5 % point of the normal distribution.
const z95 = 1.959963984540054

// Rate is how often something happened, with its 95 % interval.
type Rate struct {
	Count int     `json:"count"`
	Of    int     `json:"of"`
	Share float64 `json:"share"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
}

// newRate makes a rate with Wilson's score interval (Wilson, J. Am. Stat.
// Assoc. 22, 1927, 209; from memory). It is of use for no events, too: then
// the upper end is 3.84/n.
func newRate(count, of int) Rate {
	r := Rate{Count: count, Of: of, High: 1}
	if of == 0 {
		r.Share = math.NaN()
		return r
	}
	n := float64(of)
	r.Share = float64(count) / n
	mid := (r.Share + z95*z95/(2*n)) / (1 + z95*z95/n)
	half := z95 / (1 + z95*z95/n) * math.Sqrt(r.Share*(1-r.Share)/n+z95*z95/(4*n*n))
	r.Low, r.High = max(mid-half, 0), min(mid+half, 1)
	if count == 0 {
		r.Low = 0
	}
	if count == of {
		r.High = 1
	}
	return r
}

// agree says whether two rates may be one and the same: the 95 % interval of
// their difference holds zero. The interval is Newcombe's, made of the two
// score intervals (Newcombe, Stat. Med. 17, 1998, 873, method 10; from
// memory).
func agree(a, b Rate) bool {
	d := a.Share - b.Share
	low := d - math.Hypot(a.Share-a.Low, b.High-b.Share)
	high := d + math.Hypot(a.High-a.Share, b.Share-b.Low)
	return low <= 0 && high >= 0
}
