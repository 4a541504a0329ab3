package ingest

import "fmt"

// source is what the hint has to know of a link to be of use.
type source struct {
	baud    int
	framing string
	limit   int
}

// hintWindow looks at what a link has heard lately, to tell a wrong baud rate
// or a wrong framing from a link that merely loses a frame now and then. It
// counts with halving: each time a count is full, all are halved, so that old
// times fade.
type hintWindow struct {
	good, bad   int // frames, and rejected pieces or frames
	bytes, high int // bytes, and those among them that plain text does not use
	since       int // bytes since the last frame
	spoiled     int // of bad, frames that the decoder could not read
	detail      string
}

const hintBytes = 2048

func (w *hintWindow) addBytes(b []byte) {
	for _, c := range b {
		if c >= 0x80 || c < 0x20 && c != '\r' && c != '\n' && c != '\t' {
			w.high++
		}
	}
	w.bytes += len(b)
	w.since += len(b)
	for w.bytes > hintBytes {
		w.bytes, w.high = w.bytes/2, w.high/2
	}
}

func (w *hintWindow) addFrame() {
	w.since = 0
	w.count(&w.good)
}

func (w *hintWindow) addReject() { w.count(&w.bad) }

// spoilFrame takes back a frame that the decoder could not read; detail says why.
func (w *hintWindow) spoilFrame(detail string) {
	w.good = max(w.good-1, 0)
	w.spoiled, w.detail = w.spoiled+1, detail
	w.count(&w.bad)
}

func (w *hintWindow) count(n *int) {
	*n++
	if w.good+w.bad > hintOutcomes {
		w.good, w.bad, w.spoiled = w.good/2, w.bad/2, w.spoiled/2
	}
}

// words is the hint, empty if there is no reason for one. The limits are
// common practice, no source: a UART at the wrong rate reads nearly every
// frame wrong, and turns text into bytes of which far more than a fifth are
// not text, whereas noise on a right one spoils a few.
func (w *hintWindow) words(src source) string {
	mostBad := w.bad >= hintOutcomes/8 && w.bad >= 9*w.good
	noFrame := w.since >= 2*src.limit
	notText := src.framing == FramingLine && w.bytes >= 128 && 5*w.high >= w.bytes
	if !mostBad && !noFrame && !notText {
		return ""
	}
	mend := "check that the layout fits what the board sends"
	if src.baud > 0 {
		mend = fmt.Sprintf("check that the board also sends at %d baud, and then that the layout fits", src.baud)
	}
	switch {
	case notText:
		return fmt.Sprintf("%d %% of the bytes are not text: %s", 100*w.high/w.bytes, mend)
	case noFrame:
		return fmt.Sprintf("%d bytes heard since the last frame: %s", w.since, mend)
	}
	if w.detail != "" && 10*w.spoiled >= 9*w.bad { // framing finds them, so the rate is right
		return fmt.Sprintf("%d of the last %d frames could not be read, %s: correct the fields of the layout (padlark layout guesses them)", w.bad, w.bad+w.good, w.detail)
	}
	return fmt.Sprintf("%d of the last %d pieces could not be read: %s", w.bad, w.bad+w.good, mend)
}
