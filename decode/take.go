package decode

import "padlark/ingest"

// Counter takes what is found wrong with the frames of a link.
type Counter interface {
	AddBad(reason, detail string, f ingest.Frame)
	AddGap(missing uint64)
	AddRefused(field string, f ingest.Frame)
	AddGuest(id uint32)
}

// Take decodes a frame, counts what is found wrong with it, if counts is not nil, and
// hands each of its samples to out, whose error it returns. rej says why it gave none.
func (d *Decoder) Take(f *ingest.Frame, counts Counter, out func(s Sample) error) (rej *Reject, err error) {
	return d.TakeParsed(f, nil, counts, out)
}

// TakeParsed is Take of a frame that has been parsed already; nil is one that has not.
func (d *Decoder) TakeParsed(f *ingest.Frame, said *Parsed, counts Counter, out func(s Sample) error) (rej *Reject, err error) {
	var s Sample
	if said != nil {
		s, rej = d.placed(f, said)
	} else {
		s, rej = d.decode(f)
	}
	if counts != nil {
		d.count(f, rej, counts)
	}
	if rej != nil {
		return rej, nil
	}
	more := d.more
	if err := out(s); err != nil {
		return nil, err
	}
	for _, s := range more {
		if err := out(s); err != nil {
			return nil, err
		}
	}
	return nil, nil
}

func (d *Decoder) count(f *ingest.Frame, rej *Reject, to Counter) {
	if d.isGuest {
		to.AddGuest(d.guest)
	}
	if rej != nil {
		if rej.Kind != Heading { // that has said what others mean
			to.AddBad(rej.Reason, rej.Brief(), *f)
		}
		return
	}
	if d.refused.field != "" {
		to.AddRefused(d.refused.field, *f)
	}
	if d.gap > 0 {
		to.AddGap(uint64(d.gap))
	}
}
