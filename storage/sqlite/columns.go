package sqlite

import (
	"context"
	"fmt"
	"maps"
	"math"
	"slices"

	"padlark/storage"
	"padlark/storage/sqlite/block"
)

// Columns calls fn for the chosen samples, some thousands at a time: session
// after session, rocket after rocket by name, link after link, each in the order
// of the frames. Unlike Samples it opens only the channels that are asked for (all
// if names is nil) and does not bring links into one order, which makes it a good deal faster.
// The slices are valid until fn returns. An error of fn ends it and is returned.
func (a *Archive) Columns(ctx context.Context, q storage.Query, names []string, fn func(*storage.Columns) error) error {
	var until int64 // Passed of the newest sample when a session's turn came
	var of string
	return a.eachTrack(ctx, q, func(s storage.Session, l storedLink, b *blockReader, name string, w window) (err error) {
		if s.ID != of {
			until, err = a.newestSample(ctx, s.ID)
			if err != nil && a.readOnly && damaged(err) {
				until, err = forEver, nil // the blocks that can be read are looked for below
			}
			if err != nil {
				return err
			}
			of = s.ID
		}
		b.reuse = true // a view is closed before the next block is read
		r := columnReader{b: b, w: w, until: until, names: names, all: names == nil, out: storage.Columns{Session: s.ID, Rocket: name, Link: l.name}}
		r.epoch = s.Epoch.UnixNano()
		if !q.Recorded {
			r.epoch += s.Shift.Nanoseconds()
		}
		for {
			ok, err := r.next(ctx)
			if !ok || err != nil {
				return err
			}
			if len(r.out.At) == 0 {
				continue
			}
			if err := fn(&r.out); err != nil {
				return &callerError{err}
			}
		}
	})
}

// ChannelNames lists the channels that any of the chosen samples has, sorted.
func (a *Archive) ChannelNames(ctx context.Context, q storage.Query) ([]string, error) {
	seen := map[string]bool{}
	err := a.eachTrack(ctx, q, func(_ storage.Session, _ storedLink, b *blockReader, _ string, w window) error {
		if w == whole() {
			return b.channels(ctx, seen)
		}
		// A block at the edge may hold others than its rows within.
		r := columnReader{b: b, w: w, all: true, until: forEver}
		for {
			ok, err := r.next(ctx)
			if !ok || err != nil {
				return err
			}
			for i, name := range r.out.Channels {
				if !seen[name] && len(r.out.At) > 0 {
					seen[name] = slices.ContainsFunc(r.out.Values[i], func(v float64) bool { return !math.IsNaN(v) })
				}
			}
		}
	})
	maps.DeleteFunc(seen, func(_ string, has bool) bool { return !has })
	return slices.Sorted(maps.Keys(seen)), err
}

// channels notes the channels of whole blocks, without opening them.
func (b *blockReader) channels(ctx context.Context, seen map[string]bool) error {
	for {
		m, data, ok, err := b.next(ctx)
		if !ok || err != nil {
			return err
		}
		v, err := b.a.codec.OpenSamples(data)
		if err != nil {
			if err := b.bad(m, err); err != nil {
				return err
			}
			continue
		}
		for _, n := range v.Channels() {
			seen[n] = true
		}
		b.after = m.last
		v.Close()
	}
}

// eachTrack calls fn for each rocket and link that q chooses.
func (a *Archive) eachTrack(ctx context.Context, q storage.Query, fn func(s storage.Session, l storedLink, b *blockReader, rocket string, w window) error) error {
	return a.eachRocket(ctx, q, func(s storage.Session, links []storedLink, p part) error {
		id, err := a.rocketRow(ctx, s.ID, p.heardAs)
		if err != nil {
			return err
		}
		for _, l := range links {
			if q.Link != "" && q.Link != l.name {
				continue
			}
			b := a.sampleBlocks(s, l, id, p.name, p.window)
			if err := fn(s, l, b, p.name, p.window); err != nil {
				return err
			}
		}
		return nil
	})
}

// columnReader opens the columns of one track's blocks.
type columnReader struct {
	b     *blockReader
	w     window
	names []string
	all   bool
	until int64 // samples that passed later are left out
	epoch int64 // ns since 1970
	out   storage.Columns

	some                bool    // of the block's rows are chosen by passed
	numbers, at, passed []int64 // memory that is used again
	values              [][]float64
}

// next reads a block into out, which may hold no row of the window.
func (r *columnReader) next(ctx context.Context) (ok bool, err error) {
	m, data, ok, err := r.b.next(ctx)
	if !ok || err != nil {
		return false, err
	}
	r.out.At = r.out.At[:0]
	v, err := r.b.a.codec.OpenSamples(data)
	if err == nil {
		err = r.read(m, v)
		v.Close()
	}
	if err != nil {
		r.out.At = r.out.At[:0]
		return true, r.b.bad(m, err)
	}
	return true, nil
}

func (r *columnReader) read(m meta, v *block.View) error {
	if v.Rows() != m.count {
		return fmt.Errorf("%w: the block holds other rows", block.ErrDamaged)
	}
	from := 0
	if m.first <= r.b.after {
		r.numbers = v.Numbers(r.numbers)
		var err error
		if from, err = r.b.given(m, r.numbers); err != nil {
			return err
		}
	}
	r.b.after = m.last
	r.at = v.At(r.at)
	r.out.Channels, r.out.Passed, r.out.Ahead = v.Channels(), min(m.passed, r.until, r.w.until), m.count
	for _, b := range r.b.list {
		r.out.Ahead += b.count
	}
	if r.all {
		r.names = r.out.Channels
	}
	for len(r.values) < len(r.names) {
		r.values = append(r.values, nil)
	}
	r.values = r.values[:len(r.names)]
	for i, name := range r.names {
		r.values[i], _ = v.Channel(name, r.values[i])
	}
	r.some = r.w.passed > always || m.passed > min(r.until, r.w.until)
	if r.some {
		r.passed = v.Passed(r.passed, r.at)
	}
	if err := v.Err(); err != nil {
		return err
	}
	r.choose(from)
	return nil
}

// choose puts the rows of the window into out. Most blocks lie in it as a whole.
func (r *columnReader) choose(from int) {
	in := func(i int) bool {
		return r.at[i] >= r.w.from && r.at[i] <= r.w.to && (!r.some || r.passed[i] >= r.w.passed && r.passed[i] <= min(r.until, r.w.until))
	}
	to := len(r.at)
	for from < to && !in(from) {
		from++
	}
	for to > from && !in(to-1) {
		to--
	}
	k := from
	for i := from; i < to; i++ {
		if !in(i) {
			continue
		}
		if i != k {
			r.at[k] = r.at[i]
			for _, v := range r.values {
				v[k] = v[i]
			}
		}
		k++
	}
	for _, at := range r.at[from:k] {
		r.out.At = append(r.out.At, r.epoch+at)
	}
	r.out.Values = r.out.Values[:0]
	for _, v := range r.values {
		r.out.Values = append(r.out.Values, v[from:k])
	}
}
