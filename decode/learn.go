package decode

import (
	"slices"

	"padlark/decode/aprs"
)

// Some boards say in frames of their own what the values of others mean: a line
// with the names of the columns, the definitions of telemetry. A program is never
// changed; the link gets another one, compiled with what was said.

// lesson is what a frame of kind Heading says of a layout.
type lesson struct {
	layout string
	header string
	aprs   *aprs.Definition // of a station's telemetry
}

// mostLessons bounds what is kept of a link.
const mostLessons = 256

// replaces says whether a lesson is of the same thing as an older one.
func (x *lesson) replaces(old *lesson) bool {
	if (x.aprs == nil) != (old.aprs == nil) || x.layout != old.layout {
		return false
	}
	return x.aprs == nil || x.aprs.Of == old.aprs.Of && x.aprs.Kind == old.aprs.Kind
}

// learn gives a link the program that a heading asks for, and what is to be said
// of the heading. The board's tracks go on.
func (d *Decoder) learn(l *link, program int, r *Reject) *Reject {
	lessons := slices.DeleteFunc(slices.Clone(l.lessons), func(old lesson) bool { return d.lesson.replaces(&old) })
	lessons = append(lessons, *d.lesson)
	if len(lessons) > mostLessons {
		lessons = lessons[1:]
	}
	var err error
	if d.lesson.aprs != nil {
		l.programs[program].teach(l.scratch[program], d.lesson)
	} else {
		err = d.taught(l, program, lessons)
	}
	if err != nil {
		bad := *r
		bad.Kind, bad.Detail = Unknown, err.Error()
		return &bad
	}
	l.lessons = lessons
	return r
}

// taught puts a program that knows the lessons in the place of a link's. The
// board's tracks go on with it.
func (d *Decoder) taught(l *link, program int, lessons []lesson) error {
	old := l.programs[program]
	p := old
	if slices.ContainsFunc(lessons, func(x lesson) bool { return x.aprs == nil }) {
		var err error
		if p, err = old.taught(lessons); err != nil {
			return err
		}
	}
	l.programs[program], l.scratch[program] = p, newScratch(p)
	for i := range lessons {
		p.teach(l.scratch[program], &lessons[i])
	}
	for _, k := range d.rockets {
		for _, st := range k.streams {
			if st.program == old && st.link == l.name {
				st.program = p
			}
		}
	}
	return nil
}

// taught is the program compiled with what has been said of its layout, or of
// those within it.
func (p *Program) taught(lessons []lesson) (*Program, error) {
	layouts := slices.Clone(p.others)
	at := 0
	for i := range layouts {
		if layouts[i].Name == p.name {
			at = i
		}
		for _, x := range lessons {
			if x.aprs == nil && x.layout == layouts[i].Name {
				layouts[i].Header = x.header
			}
		}
	}
	out, err := Compile(layouts[at], layouts)
	if err != nil {
		return nil, err
	}
	out.others = p.others
	return out, nil
}

// Refresh makes a decoder whole whose state was kept while its programs, those of
// Programs, were not: they learn again what its links have been told.
func (d *Decoder) Refresh() error {
	for _, l := range d.links {
		for i := range l.programs {
			if err := d.taught(l, i, l.lessons); err != nil {
				return err
			}
		}
	}
	return nil
}

// Learn takes a frame of a link for what it says of others, if that is what it is
// for. Decode does so by itself; Parse, which keeps nothing, does not.
func (d *Decoder) Learn(linkName string, b []byte) bool {
	l := d.link(linkName)
	if l == nil {
		return false
	}
	var p Parsed
	for i := range l.programs {
		if r := d.parseAs(l, i, b, &p); r != nil && d.lesson != nil {
			return d.learn(l, i, r).Kind == Heading
		}
	}
	return false
}
