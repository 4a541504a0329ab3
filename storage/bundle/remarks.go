package bundle

import (
	"context"
	"errors"
	"slices"

	"padlark/storage"
	"padlark/storage/sqlite"
)

// remarks takes in what people said of a session that an archive has.
type remarks struct {
	ctx         context.Context
	a           *sqlite.Archive
	session     storage.Session
	there       []note
	corrections []sqlite.Correction
}

func newRemarks(ctx context.Context, a *sqlite.Archive, id string) (*remarks, error) {
	r := &remarks{ctx: ctx, a: a}
	var err error
	if r.session, err = a.Session(ctx, id); err != nil {
		return nil, err
	}
	notes, err := a.KeptNotes(ctx, id)
	if err != nil {
		return nil, err
	}
	for _, n := range notes {
		r.there = append(r.there, noteOf(n))
	}
	voids, err := a.Voids(ctx, id)
	if err != nil {
		return nil, err
	}
	for _, v := range voids {
		r.there = append(r.there, voidOf(v))
	}
	r.corrections, err = a.Corrections(ctx, id)
	return r, err
}

func noteOf(n storage.Note) note {
	return note{Rocket: n.Rocket, Flight: n.Flight, At: n.At, Text: n.Text}
}

func voidOf(v sqlite.Void) note {
	return note{Rocket: v.Rocket, Flight: v.Flight, At: v.At, Text: v.Why, Void: &v.Void}
}

// note adds a remark that is not there yet.
func (r *remarks) note(n note) error {
	id := r.session.ID
	if c := n.Correction; c != nil {
		if slices.ContainsFunc(r.corrections, func(o sqlite.Correction) bool { return o.Kind == c.Kind && o.At.Equal(c.At) }) {
			return nil
		}
		c.Session = id
		return r.a.Correct(r.ctx, *c)
	}
	same := func(o note) bool {
		return o.Rocket == n.Rocket && o.Flight == n.Flight && o.At.Equal(n.At) && o.Text == n.Text &&
			(o.Void == nil) == (n.Void == nil) && (o.Void == nil || *o.Void == *n.Void)
	}
	if slices.ContainsFunc(r.there, same) {
		return nil
	}
	if n.Void != nil {
		return r.a.TakeVoid(r.ctx, sqlite.Void{Session: id, Rocket: n.Rocket, Flight: n.Flight, Void: *n.Void, At: n.At, Why: n.Text})
	}
	_, err := r.a.AddNote(r.ctx, storage.Note{Session: id, Rocket: n.Rocket, Flight: n.Flight, At: r.session.Corrected(n.At), Text: n.Text})
	return err
}

// CopyRemarks brings what people said of a session that both archives have from one to
// the other: notes, void flights, corrections and a fix of its time. What is there
// already stays. The error tells of all that could not be read or kept; the rest is
// copied.
func CopyRemarks(ctx context.Context, from, to *sqlite.Archive, id string) error {
	r, err := newRemarks(ctx, to, id)
	if err != nil {
		return err
	}
	old, err := from.Session(ctx, id)
	if err != nil {
		return err
	}
	if r.session.ShiftSource == "" && old.ShiftSource != "" {
		if err := to.SetShift(ctx, id, old.Shift, old.ShiftSource); err != nil {
			return err
		}
		r.session.Shift = old.Shift
	}
	p := &packer{ctx: ctx, a: from, id: id}
	var errs []error
	err = p.notes(func(v any) error {
		errs = append(errs, r.note(v.(note)))
		return nil // the others may be good
	})
	return errors.Join(append(errs, err)...)
}
