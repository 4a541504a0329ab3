package decode

import "testing"

// TestGPS reads sentences that stand in public descriptions of NMEA 0183, with the
// checksums that they have there (from memory), of several talkers.
func TestGPS(t *testing.T) {
	d := station(t, "", "gps")
	for i, c := range [][2]string{
		{"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47",
			"45319s latitude_deg=48.1173 longitude_deg=11.5166667 gps_fix=1 satellites=8 hdop=0.9 gps_altitude_m=545.4"},
		{"$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A",
			"45319s latitude_deg=48.1173 longitude_deg=11.5166667 gps_fix=1 ground_speed_mps=11.5235556 course_deg=84.4"},
		{"$GPGSA,A,3,04,05,,09,12,,,24,,,,,2.5,1.3,2.1*39", "hdop=1.3 gps_mode=3 pdop=2.5 vdop=2.1"},
		{"$GPVTG,054.7,T,034.4,M,005.5,N,010.2,K*48", "ground_speed_mps=2.82944444 course_deg=54.7"},
		// A multi-constellation receiver, and one that has no fix.
		{"$GNRMC,123519.50,V,,,,,,,230394,,,N*64", "45319.5s gps_fix=0"},
		{"$GPGLL,4807.038,N,01131.000,E,123520,V*38", "45320s latitude_deg=48.1173 longitude_deg=11.5166667 gps_fix=0"},
		{"$GPHDT,274.07,T*03", `unknown: not ours: it is none of the 6 kinds; of the last: not ours: sentence "GPHDT"`},
	} {
		if got := outcome(d, i, c[0]); got != c[1] {
			t.Errorf("%s\n got %s\nwant %s", c[0], got, c[1])
		}
	}
	d = station(t, "", "gps")
	if got, want := outcome(d, 1, "$GPGLL,4916.45,N,12311.12,W,225444,A,*1D"), "82484s latitude_deg=49.2741667 longitude_deg=-123.185333 gps_fix=1"; got != want {
		t.Errorf("GLL: %s, want %s", got, want)
	}
	d = station(t, "", "gps")
	if got, want := outcome(d, 1, "$GPZDA,201530.00,04,07,2002,00,00*60"), "72930s day=4 month=7 year=2002"; got != want {
		t.Errorf("ZDA: %s, want %s", got, want)
	}
}
