package snapshot

import (
	"encoding/binary"
	"fmt"
	"io"
	"reflect"
	"slices"
	"strings"
	"unsafe"
)

// magic begins a snapshot; the number is that of the form.
const magic = "plsnap1\n"

// Tags before a pointer, a slice, a map or an interface.
const (
	tagNil = iota
	tagInside
	tagShared // a pointer to what the program makes by itself
	tagEmpty  // a pointer to a value without size, or a slice without room
)

// Write writes the value that root points to, and all that it leads to. Nobody may
// change it meanwhile. It is an error if there is something in it that cannot be
// kept, such as a function or a channel.
func Write(to io.Writer, root any, k Known) error {
	if err := write(to, root, k); err != nil {
		return fmt.Errorf("write snapshot: %w", err)
	}
	return nil
}

func write(to io.Writer, root any, k Known) error {
	b, err := newBook(reflect.TypeOf(root).Elem(), k)
	if err != nil {
		return err
	}
	w := walker{book: b}
	if err := w.walk(root); err != nil {
		return err
	}
	w.seen = nil // it would only take memory
	if err := w.settle(); err != nil {
		return err
	}
	print := b.print()
	out := writer{book: b, regions: &w.regions, to: to, b: append([]byte(magic), print[:]...), maps: map[unsafe.Pointer]bool{}}
	out.number(len(w.list))
	for i := range w.list {
		out.number(b.index[w.list[i].elem])
		out.number(w.list[i].n)
	}
	for i := range w.list {
		r := &w.list[i]
		for k := range r.n {
			out.value(r.elem, unsafe.Add(r.at, uintptr(k)*r.elem.Size()))
			out.spill(spillAt)
		}
	}
	out.spill(0)
	return out.err
}

// spillAt is how many bytes are gathered before they are passed on.
const spillAt = 64 << 10

// walker meets every region that a root leads to.
type walker struct {
	*book
	regions
	learn bool // note types behind interfaces instead of asking for them
	seen  map[region]bool
}

func (w *walker) walk(root any) error {
	w.seen = map[region]bool{}
	v := reflect.ValueOf(root)
	w.meet(v.UnsafePointer(), v.Type().Elem(), 1)
	for i := 0; i < len(w.list); i++ {
		r := w.list[i]
		if _, flat := w.flat(r.elem); flat {
			continue
		}
		for k := range r.n {
			if err := w.look(r.elem, unsafe.Add(r.at, uintptr(k)*r.elem.Size())); err != nil {
				return err
			}
		}
	}
	return nil
}

func (w *walker) meet(at unsafe.Pointer, elem reflect.Type, n int) {
	r := region{at, elem, n}
	if at == nil || r.size() == 0 || w.seen[r] {
		return
	}
	w.seen[r] = true
	w.list = append(w.list, r)
}

// look follows what leads away from a value.
func (w *walker) look(t reflect.Type, p unsafe.Pointer) error {
	if _, flat := w.flat(t); flat {
		return nil
	}
	switch t.Kind() {
	case reflect.String:
	case reflect.Pointer:
		if !w.leaf[t.Elem()] {
			w.meet(*(*unsafe.Pointer)(p), t.Elem(), 1)
		}
	case reflect.Slice:
		s := (*sliceHead)(p)
		w.meet(s.at, t.Elem(), s.cap)
	case reflect.Map:
		m := reflect.NewAt(t, p).Elem()
		keys := m.MapKeys()
		// In one order, so that the same state gives the same bytes.
		slices.SortFunc(keys, func(a, b reflect.Value) int {
			return strings.Compare(fmt.Sprint(a), fmt.Sprint(b))
		})
		for _, k := range keys {
			for _, v := range [2]reflect.Value{k, m.MapIndex(k)} {
				if err := w.look(v.Type(), faceOf(v).UnsafePointer()); err != nil {
					return err
				}
			}
		}
	case reflect.Interface:
		v := reflect.NewAt(t, p).Elem()
		if v.IsNil() {
			return nil
		}
		v = v.Elem()
		if w.learn && !slices.Contains(w.faces, v.Type()) {
			w.faces = append(w.faces, v.Type())
		}
		return w.look(v.Type(), faceOf(v).UnsafePointer())
	case reflect.Struct:
		for i := range t.NumField() {
			f := t.Field(i)
			if err := w.look(f.Type, unsafe.Add(p, f.Offset)); err != nil {
				return fmt.Errorf("%s.%s: %w", t, f.Name, err)
			}
		}
	case reflect.Array:
		for i := range t.Len() {
			if err := w.look(t.Elem(), unsafe.Add(p, uintptr(i)*t.Elem().Size())); err != nil {
				return err
			}
		}
	default:
		if !reflect.NewAt(t, p).Elem().IsZero() {
			return fmt.Errorf("%s: %w", t, errKind)
		}
	}
	return nil
}

// writer writes what the walk has met; the first error stays.
type writer struct {
	*book
	*regions
	to   io.Writer
	b    []byte // what is not passed on yet
	maps map[unsafe.Pointer]bool
	err  error
}

// spill passes on what has gathered if it is so much.
func (w *writer) spill(most int) {
	if len(w.b) < most || w.err != nil {
		return
	}
	if _, err := w.to.Write(w.b); err != nil {
		w.fail(err)
	}
	w.b = w.b[:0]
}

func (w *writer) number(n int) { w.b = binary.AppendUvarint(w.b, uint64(n)) }

func (w *writer) text(s string) {
	w.number(len(s))
	w.b = append(w.b, s...)
}

func (w *writer) fail(err error) {
	if w.err == nil {
		w.err = err
	}
}

// lead writes a pointer to n values of a type.
func (w *writer) lead(at unsafe.Pointer, t reflect.Type, n int) {
	i, offset, err := w.find(at, t, n)
	if err != nil {
		w.fail(err)
		return
	}
	w.number(tagInside)
	w.number(i)
	w.number(int(offset))
}

func (w *writer) value(t reflect.Type, p unsafe.Pointer) {
	if runs, flat := w.flat(t); flat {
		for _, r := range runs {
			w.b = append(w.b, unsafe.Slice((*byte)(unsafe.Add(p, r.offset)), r.size)...)
		}
		return
	}
	switch t.Kind() {
	case reflect.String:
		w.text(*(*string)(p))
	case reflect.Pointer:
		w.pointer(t, *(*unsafe.Pointer)(p), p)
	case reflect.Slice:
		switch s := (*sliceHead)(p); {
		case s.at == nil:
			w.number(tagNil)
		case s.cap == 0 || t.Elem().Size() == 0:
			w.number(tagEmpty)
			w.number(s.len)
		default:
			w.lead(s.at, t.Elem(), s.cap)
			w.number(s.len)
			w.number(s.cap)
		}
	case reflect.Map:
		w.mapping(reflect.NewAt(t, p).Elem())
	case reflect.Interface:
		v := reflect.NewAt(t, p).Elem()
		if v.IsNil() {
			w.number(tagNil)
			return
		}
		v = v.Elem()
		i := slices.Index(w.faces, v.Type())
		if i < 0 {
			w.fail(fmt.Errorf("%s hides behind %s, and no example shows it", v.Type(), t))
			return
		}
		w.number(tagInside)
		w.number(i)
		w.value(v.Type(), faceOf(v).UnsafePointer())
	case reflect.Struct:
		for i := range t.NumField() {
			f := t.Field(i)
			w.value(f.Type, unsafe.Add(p, f.Offset))
		}
	case reflect.Array:
		for i := range t.Len() {
			w.value(t.Elem(), unsafe.Add(p, uintptr(i)*t.Elem().Size()))
		}
	} // anything else is nil: the walk has looked
}

func (w *writer) pointer(t reflect.Type, to, p unsafe.Pointer) {
	switch {
	case to == nil:
		w.number(tagNil)
	case w.leaf[t.Elem()]:
		name, ok := w.names[reflect.NewAt(t, p).Elem().Interface()]
		if !ok {
			w.fail(fmt.Errorf("a pointer to %s is none of those that are shared", t.Elem()))
		}
		w.number(tagShared)
		w.text(name)
	case t.Elem().Size() == 0:
		w.number(tagEmpty)
	default:
		w.lead(to, t.Elem(), 1)
	}
}

// mapping writes a map in the order of its keys as they are written.
func (w *writer) mapping(v reflect.Value) {
	if v.IsNil() {
		w.number(tagNil)
		return
	}
	if w.maps[v.UnsafePointer()] {
		w.fail(fmt.Errorf("two fields share one %s: %w", v.Type(), errKind))
		return
	}
	w.maps[v.UnsafePointer()] = true
	type pair struct {
		key   []byte
		value reflect.Value
	}
	var pairs []pair
	before := w.b
	for it := v.MapRange(); it.Next(); {
		w.b = nil
		w.value(v.Type().Key(), faceOf(it.Key()).UnsafePointer())
		pairs = append(pairs, pair{w.b, it.Value()})
	}
	w.b = before
	slices.SortFunc(pairs, func(a, b pair) int { return slices.Compare(a.key, b.key) })
	w.number(tagInside)
	w.number(len(pairs))
	for _, p := range pairs {
		w.b = append(w.b, p.key...)
		w.value(v.Type().Elem(), faceOf(p.value).UnsafePointer())
	}
}
