package decode

import "slices"

// Some boards say in frames of their own what the values of others mean: a line
// with the names of the columns, the definitions of telemetry. A program is never
// changed; the link gets another one, compiled with what was said.

// lesson is what a frame of kind Heading says of a layout.
type lesson struct {
	layout string
	header string
}

// learn gives a link the program that a heading asks for, and what is to be said
// of the heading. The board's tracks go on.
func (d *Decoder) learn(l *link, program int, r *Reject) *Reject {
	lessons := slices.DeleteFunc(slices.Clone(l.lessons), func(x lesson) bool { return x.layout == r.lesson.layout })
	lessons = append(lessons, *r.lesson)
	old := l.programs[program]
	p, err := compileTaught(old.name, d.layouts, lessons)
	if err != nil {
		bad := *r
		bad.Kind, bad.Detail = Unknown, err.Error()
		return &bad
	}
	l.lessons, l.programs[program], l.scratch[program] = lessons, p, newScratch(p)
	for _, k := range d.rockets {
		for _, st := range k.streams {
			if st.program == old && st.link == l.name {
				st.program = p
			}
		}
	}
	return r
}

// compileTaught compiles a layout with what has been said of it, or of those
// within it.
func compileTaught(name string, layouts []Layout, lessons []lesson) (*Program, error) {
	layouts = slices.Clone(layouts)
	at := 0
	for i := range layouts {
		if layouts[i].Name == name {
			at = i
		}
		for _, x := range lessons {
			if x.layout == layouts[i].Name {
				layouts[i].Header = x.header
			}
		}
	}
	return Compile(layouts[at], layouts)
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
		if r := d.parseAs(l, i, b, &p); r != nil && r.lesson != nil {
			return d.learn(l, i, r).Kind == Heading
		}
	}
	return false
}
