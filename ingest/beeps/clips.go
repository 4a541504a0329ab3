package beeps

// clips remembers how much of the sound was clipped: while a gust drives a recorder
// to its limit, a tone on top of it is not there for as long.
type clips struct {
	slot  float64 // samples of one step
	seen  int64   // samples
	hits  int     // clipped ones of this step
	share []uint8 // of the steps, in 1/200
	from  int64   // the first of them
}

const (
	// clippedAt is from where a sample counts as clipped, of full scale. A lossy encoder
	// scatters what was at the limit: in five made recordings (MP3 of 32 to 64 kbit/s) the
	// share that was clipped is met to 0.03 to 0.09 (rms) from here on, and missed by 0.10
	// to 0.32 at 0.995.
	clippedAt  = 0.85
	clippedOne = 200
)

func (c *clips) push(samples []float64) {
	for _, v := range samples {
		if v >= clippedAt || v <= -clippedAt {
			c.hits++
		}
		c.seen++
		if float64(c.seen) >= float64(c.from+int64(len(c.share))+1)*c.slot {
			c.share = append(c.share, uint8(min(clippedOne, float64(c.hits)*clippedOne/c.slot)))
			c.hits = 0
		}
	}
}

// drop forgets the steps before one.
func (c *clips) drop(step int64) {
	n := min(max(0, step-c.from), int64(len(c.share)))
	c.share = c.share[:copy(c.share, c.share[n:])]
	c.from += n
}

// passed is the part of the middle of a row's window that was not clipped.
func (c *clips) passed(row int64) float64 {
	const middle = windowMs / 2 / StepMs // the block begins and ends within steps
	sum := 0
	for k := row + middle - 1; k <= row+middle; k++ {
		if i := k - c.from; i >= 0 && i < int64(len(c.share)) {
			sum += int(c.share[i])
		}
	}
	return 1 - float64(sum)/(2*clippedOne)
}
