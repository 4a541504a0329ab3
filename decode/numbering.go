package decode

import "slices"

// Numbering counts messages of one rocket and the holes in its own numbering, boot by
// boot, in whatever order they come. Each message is to be added once.
type Numbering struct {
	boots          []bootCount // the newest last
	heard, missing uint64      // of boots no longer kept
}

type bootCount struct {
	boot        uint32
	first, last int64
	heard       uint64
	numbered    uint64
}

// Add counts a message; seq is -1 if it has no number.
func (c *Numbering) Add(boot uint32, seq int64) {
	i := slices.IndexFunc(c.boots, func(b bootCount) bool { return b.boot == boot })
	if i < 0 {
		if len(c.boots) == mergeBoots {
			c.heard += c.boots[0].heard
			c.missing += c.boots[0].lost()
			c.boots = slices.Delete(c.boots, 0, 1)
		}
		c.boots = append(c.boots, bootCount{boot: boot})
		i = len(c.boots) - 1
	}
	b := &c.boots[i]
	b.heard++
	if seq < 0 {
		return
	}
	if b.numbered == 0 {
		b.first, b.last = seq, seq
	}
	b.numbered++
	b.first, b.last = min(b.first, seq), max(b.last, seq)
}

// tooOld says whether a message is so late that its copies are forgotten.
func (c *Numbering) tooOld(boot uint32, seq int64) bool {
	i := slices.IndexFunc(c.boots, func(b bootCount) bool { return b.boot == boot })
	return seq >= 0 && i >= 0 && seq < c.boots[i].last-mergeWindow
}

func (b bootCount) lost() uint64 {
	span := uint64(b.last - b.first + 1)
	if b.numbered == 0 || span < b.numbered {
		return 0
	}
	return span - b.numbered
}

// Heard is how many were counted.
func (c *Numbering) Heard() uint64 {
	n := c.heard
	for _, b := range c.boots {
		n += b.heard
	}
	return n
}

// Lost is how many numbers are missing between the first and the last of each boot.
func (c *Numbering) Lost() uint64 {
	n := c.missing
	for _, b := range c.boots {
		n += b.lost()
	}
	return n
}
