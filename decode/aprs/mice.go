package aprs

// micE reads a position whose latitude stands in the destination address and
// whose longitude, speed and course are three bytes each of the information field
// (chapter 10):
//
//	destination   six characters: a digit of the latitude each, and a bit
//	information   ` | longitude 3 | speed and course 3 | symbol 2 | ... height }
func (r *Report) micE(to string, b []byte) *Error {
	if len(b) < 9 {
		return &Error{len(b), "it ends within its position", false}
	}
	if len(to) < 6 {
		return &Error{0, "its destination address, " + to + ", is too short to hold a latitude", false}
	}
	var digits [6]float64
	var high [6]bool
	for i := range 6 {
		switch c := to[i]; {
		case c >= '0' && c <= '9':
			digits[i] = float64(c - '0')
		case c >= 'A' && c <= 'J' && i < 3:
			digits[i], high[i] = float64(c-'A'), true
		case c >= 'P' && c <= 'Y':
			digits[i], high[i] = float64(c-'P'), true
		case c == 'K' && i < 3, c == 'Z':
			high[i] = true
		case c == 'L':
		default:
			return &Error{0, "its destination address, " + to + ", is no latitude", false}
		}
	}
	minutes := 10*digits[2] + digits[3] + digits[4]/10 + digits[5]/100
	lat := 10*digits[0] + digits[1] + minutes/60
	if minutes >= 60 || lat > 90 {
		return &Error{0, "its destination address, " + to + ", is no latitude", false}
	}
	for i := 1; i < 7; i++ {
		if b[i] < 28 {
			return &Error{i, "its longitude or speed has a byte there that none has", false}
		}
	}
	lonDeg, lonMin := int(b[1])-28, (int(b[2])-28)%60
	if high[4] {
		lonDeg += 100
	}
	switch {
	case lonDeg >= 180 && lonDeg <= 189:
		lonDeg -= 80
	case lonDeg >= 190 && lonDeg <= 199:
		lonDeg -= 190
	}
	hundredths := int(b[3]) - 28
	if lonDeg > 179 || hundredths > 99 {
		return &Error{1, "there is no such longitude", false}
	}
	lon := float64(lonDeg) + (float64(lonMin)+float64(hundredths)/100)/60
	if !high[3] {
		lat = -lat
	}
	if high[5] {
		lon = -lon
	}
	tens := int(b[5]) - 28
	speed, course := ((int(b[4])-28)*10+tens/10)%800, (tens%10*100+int(b[6])-28)%400
	r.LatitudeDeg, r.LongitudeDeg = lat, lon
	r.SpeedMps = float64(speed) * knotMps
	if course > 0 && course <= 360 { // 0 is unknown
		r.CourseDeg = float64(course)
	}
	r.micEHeight(b[9:])
	return nil
}

// micEHeight reads three digits in base 91 and "}": m above 10 km below sea level.
// A byte for the kind of the radio may stand before them.
func (r *Report) micEHeight(b []byte) {
	for from := range min(2, len(b)) {
		if len(b) < from+4 || b[from+3] != '}' {
			continue
		}
		if v, bad := base91(b[from : from+3]); bad < 0 {
			r.AltitudeM = v - 10000
			b = b[from+4:]
			break
		}
	}
	r.Comment = b
}
