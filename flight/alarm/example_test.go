package alarm_test

import (
	"fmt"
	"time"

	"padlark/flight"
	"padlark/flight/alarm"
	"padlark/flight/phrase"
)

// An alarm of the station: raised, acknowledged by a person, over. The log joins its
// changes.
func ExampleLog() {
	at := func(s int) time.Time { return time.Date(2026, 5, 16, 10, 0, s, 0, time.UTC) }
	r := alarm.ForStation("20260516-100000-abcd")
	var changes []flight.Alarm
	changes = append(changes, r.Raise(alarm.DiskFull, flight.Act, phrase.Of("disk-full.say"), phrase.Of("disk-full"), at(1), 1000)...)
	changes = append(changes, r.Ack("disk-full/1000", at(5))...)
	changes = append(changes, r.Clear(alarm.DiskFull, phrase.Of("disk-full.again"), at(9))...)
	for _, one := range alarm.Log(changes) {
		fmt.Println(one.ID, one.Say)
		fmt.Println("acknowledged", one.AckedAt.Format(time.TimeOnly), "over", one.OverAt.Format(time.TimeOnly))
	}
	// Output:
	// disk-full/1000 Disk full, not recording
	// acknowledged 10:00:05 over 10:00:09
}
