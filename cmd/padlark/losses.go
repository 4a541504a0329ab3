package main

import (
	"fmt"
	"io"

	"padlark/decode"
)

// printLosses prints the losses as a part of the list of sessions.
func printLosses(w io.Writer, losses []decode.Merged) {
	for _, r := range losses {
		fmt.Fprintf(w, "  %s: %s\n", r.Rocket, share(r.Heard, r.Lost))
		if len(r.Links) < 2 {
			continue
		}
		for _, l := range r.Links {
			fmt.Fprintf(w, "    of these %s: %s\n", l.Link, share(l.Heard, l.Lost))
		}
	}
}

func share(heard, lost uint64) string {
	if heard+lost == 0 {
		return "nothing heard"
	}
	return fmt.Sprintf("%d heard, %d lost (%.1f %%)", heard, lost, 100*float64(lost)/float64(heard+lost))
}
