package snapshot

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"reflect"
	"runtime"
	"time"
)

// Known is what a snapshot is told of values that it cannot find by itself.
type Known struct {
	// Shared are pointers to what the program makes anew by itself at each start,
	// by names that stay: they are written as the name alone. What is behind them
	// may hold anything.
	Shared map[string]any
	// Examples are pointers to values like the one that is written: they show
	// which types hide behind interfaces.
	Examples []any
}

// run is a stretch of a flat type without gaps.
type run struct{ offset, size uintptr }

// book is what is known of the types of one snapshot.
type book struct {
	shared map[string]reflect.Value
	names  map[any]string // of shared pointers
	leaf   map[reflect.Type]bool
	faces  []reflect.Type // that hide behind interfaces
	types  []reflect.Type // all, in a fixed order
	index  map[reflect.Type]int
	flats  map[reflect.Type][]run // nil runs: the type holds pointers
}

func newBook(root reflect.Type, k Known) (*book, error) {
	b := &book{
		shared: map[string]reflect.Value{}, names: map[any]string{}, leaf: map[reflect.Type]bool{},
		index: map[reflect.Type]int{}, flats: map[reflect.Type][]run{},
	}
	b.share("time.Local", time.Local)
	b.share("time.UTC", time.UTC)
	for name, p := range k.Shared {
		if reflect.TypeOf(p).Kind() != reflect.Pointer {
			return nil, fmt.Errorf("%s is shared and no pointer", name)
		}
		b.share(name, p)
	}
	for _, e := range k.Examples {
		w := walker{book: b, learn: true}
		if err := w.walk(e); err != nil {
			return nil, err
		}
	}
	b.add(root)
	for _, t := range b.faces {
		b.add(t)
	}
	return b, nil
}

func (b *book) share(name string, p any) {
	b.shared[name], b.names[p] = reflect.ValueOf(p), name
	b.leaf[reflect.TypeOf(p).Elem()] = true
}

// add notes a type and those that it is made of.
func (b *book) add(t reflect.Type) {
	if _, had := b.index[t]; had || b.leaf[t] {
		return
	}
	b.index[t] = len(b.types)
	b.types = append(b.types, t)
	switch t.Kind() {
	case reflect.Pointer, reflect.Slice, reflect.Array:
		b.add(t.Elem())
	case reflect.Map:
		b.add(t.Key())
		b.add(t.Elem())
	case reflect.Struct:
		for i := range t.NumField() {
			b.add(t.Field(i).Type)
		}
	}
}

// print is a number of all types as they are laid out: of another program, or
// another version of this one, it is another.
func (b *book) print() [16]byte {
	h := sha256.New()
	fmt.Fprintln(h, runtime.GOARCH, len(b.types), len(b.faces))
	for _, t := range b.types {
		fmt.Fprintln(h, t, t.PkgPath(), t.Kind(), t.Size())
		if t.Kind() == reflect.Struct {
			for i := range t.NumField() {
				f := t.Field(i)
				fmt.Fprintln(h, f.Name, f.Type, f.Offset)
			}
		}
	}
	return [16]byte(h.Sum(nil))
}

// flat gives the stretches of a type that holds no pointer.
func (b *book) flat(t reflect.Type) (runs []run, ok bool) {
	runs, had := b.flats[t]
	if !had {
		runs = flatten(t)
		b.flats[t] = runs
	}
	return runs, runs != nil
}

// least is how many bytes a value of a type takes at the least.
func (b *book) least(t reflect.Type) int {
	if runs, flat := b.flat(t); flat {
		n := 0
		for _, r := range runs {
			n += int(r.size)
		}
		return n
	}
	switch t.Kind() {
	case reflect.Struct:
		n := 0
		for i := range t.NumField() {
			n += b.least(t.Field(i).Type)
		}
		return n
	case reflect.Array:
		return t.Len() * b.least(t.Elem())
	}
	return 1
}

// flatten gives the stretches of a type, nil if it holds pointers.
func flatten(t reflect.Type) []run {
	out := []run{}
	add := func(offset uintptr, more []run) bool {
		for _, m := range more {
			m.offset += offset
			if k := len(out) - 1; k >= 0 && out[k].offset+out[k].size == m.offset {
				out[k].size += m.size
			} else {
				out = append(out, m)
			}
		}
		return more != nil
	}
	switch k := t.Kind(); {
	case k == reflect.Uintptr: // an address in disguise
		return nil
	case k >= reflect.Bool && k <= reflect.Complex128:
		return []run{{0, t.Size()}}
	case k == reflect.Struct:
		for i := range t.NumField() {
			if f := t.Field(i); !add(f.Offset, flatten(f.Type)) {
				return nil
			}
		}
		return out
	case k == reflect.Array:
		one := flatten(t.Elem())
		if one == nil {
			return nil
		}
		for i := range t.Len() {
			add(uintptr(i)*t.Elem().Size(), one)
		}
		return out
	}
	return nil
}

// errKind is the error for what cannot be written.
var errKind = errors.New("it cannot be kept")
