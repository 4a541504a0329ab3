package snapshot

import (
	"bufio"
	"cmp"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"reflect"
	"unsafe"
)

// errOther is returned for a snapshot of a program whose types are others.
var errOther = errors.New("it is of another version of the program")

// errDamaged is returned for bytes that no snapshot has.
var errDamaged = errors.New("it is damaged")

// Read sets what root points to from a snapshot of so many bytes that Write has made,
// told the same of what is known. After an error what root points to is of no use. It
// never asks for more memory than some times that size.
func Read(from io.Reader, size int, root any, k Known) error {
	t := reflect.TypeOf(root).Elem()
	book, err := newBook(t, k)
	if err != nil {
		return fmt.Errorf("read snapshot: %w", err)
	}
	r := reader{book: book, from: bufio.NewReader(from), left: size}
	print := book.print()
	if string(r.bytes(len(magic))) != magic {
		return fmt.Errorf("read snapshot: %w", errDamaged)
	}
	if string(r.bytes(len(print))) != string(print[:]) {
		return fmt.Errorf("read snapshot: %w", cmp.Or(r.err, errOther))
	}
	r.allocate(t, reflect.ValueOf(root).UnsafePointer())
	for i := 0; i < len(r.list) && r.err == nil; i++ {
		x := &r.list[i]
		for k := 0; k < x.n && r.err == nil; k++ {
			r.value(x.elem, unsafe.Add(x.at, uintptr(k)*x.elem.Size()))
		}
	}
	if r.err == nil && r.left > 0 {
		r.err = errDamaged
	}
	if r.err != nil {
		return fmt.Errorf("read snapshot: %w", r.err)
	}
	return nil
}

// reader reads a snapshot; after the first error it gives zeros.
type reader struct {
	*book
	list []region
	from *bufio.Reader
	left int // bytes that are to come
	err  error
}

// ReadByte is for the numbers.
func (r *reader) ReadByte() (byte, error) {
	if r.left <= 0 {
		return 0, errDamaged
	}
	r.left--
	return r.from.ReadByte()
}

func (r *reader) number() int {
	n, err := binary.ReadUvarint(r)
	if err != nil || n > 1<<40 {
		r.fail(err)
		return 0
	}
	return int(n)
}

// fail keeps the first error. An end too early is damage, as a number out of range is.
func (r *reader) fail(err error) {
	if err == nil || errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		err = errDamaged
	}
	if r.err == nil {
		r.err = err
	}
}

// upTo is a number that must be below a limit.
func (r *reader) upTo(limit int) int {
	n := r.number()
	if n >= limit {
		r.err = errDamaged
		return 0
	}
	return n
}

func (r *reader) bytes(n int) []byte {
	if n > r.left {
		r.fail(errDamaged)
		return nil
	}
	out := make([]byte, n)
	r.fill(out)
	return out
}

// fill reads so many bytes.
func (r *reader) fill(b []byte) {
	if len(b) > r.left {
		r.fail(errDamaged)
	}
	if r.err != nil {
		return
	}
	r.left -= len(b)
	if _, err := io.ReadFull(r.from, b); err != nil {
		r.fail(err)
	}
}

func (r *reader) text() string { return string(r.bytes(r.number())) }

// allocate makes room for every region; the root has its own.
func (r *reader) allocate(root reflect.Type, at unsafe.Pointer) {
	n := r.upTo(r.left)
	left := r.left
	for i := range n {
		t := r.types[r.upTo(len(r.types))]
		count := r.number()
		if r.err != nil {
			return
		}
		least := max(1, r.least(t))
		if count == 0 || count > left/least || t.Size() == 0 || i == 0 && (t != root || count != 1) {
			r.err = errDamaged
			return
		}
		left -= count * least
		if i > 0 {
			at = reflect.MakeSlice(reflect.SliceOf(t), count, count).UnsafePointer()
		}
		r.list = append(r.list, region{at, t, count})
	}
	if len(r.list) == 0 {
		r.err = errDamaged
	}
}

// lead reads where a pointer leads to; slices say how far.
func (r *reader) lead() (x *region, offset uintptr) {
	i := r.upTo(len(r.list))
	offset = uintptr(r.number())
	return &r.list[i], offset
}

func (r *reader) value(t reflect.Type, p unsafe.Pointer) {
	if r.err != nil {
		return
	}
	if runs, flat := r.flat(t); flat {
		for _, x := range runs {
			r.fill(unsafe.Slice((*byte)(unsafe.Add(p, x.offset)), x.size))
		}
		return
	}
	switch t.Kind() {
	case reflect.String:
		*(*string)(p) = r.text()
	case reflect.Pointer:
		r.pointer(t, p)
	case reflect.Slice:
		r.slice(t, p)
	case reflect.Map:
		r.mapping(t, p)
	case reflect.Interface:
		r.face(t, p)
	case reflect.Struct:
		for i := range t.NumField() {
			f := t.Field(i)
			r.value(f.Type, unsafe.Add(p, f.Offset))
		}
	case reflect.Array:
		for i := range t.Len() {
			r.value(t.Elem(), unsafe.Add(p, uintptr(i)*t.Elem().Size()))
		}
	} // anything else was nil
}

func (r *reader) pointer(t reflect.Type, p unsafe.Pointer) {
	switch r.number() {
	case tagNil:
	case tagInside:
		x, offset := r.lead()
		if r.err == nil && !x.holds(offset, t.Elem(), 1) {
			r.err = errDamaged
		}
		if r.err == nil {
			*(*unsafe.Pointer)(p) = unsafe.Add(x.at, offset)
		}
	case tagShared:
		v, ok := r.shared[r.text()]
		if !ok || v.Type() != t {
			r.err = errDamaged
			return
		}
		reflect.NewAt(t, p).Elem().Set(v)
	case tagEmpty:
		if t.Elem().Size() > 0 {
			r.err = errDamaged
			return
		}
		reflect.NewAt(t, p).Elem().Set(reflect.New(t.Elem()))
	default:
		r.err = errDamaged
	}
}

func (r *reader) slice(t reflect.Type, p unsafe.Pointer) {
	switch r.number() {
	case tagNil:
	case tagEmpty:
		n := r.number()
		if n > 0 && t.Elem().Size() > 0 {
			r.err = errDamaged
			return
		}
		reflect.NewAt(t, p).Elem().Set(reflect.MakeSlice(t, n, n))
	case tagInside:
		x, offset := r.lead()
		s := sliceHead{len: r.number(), cap: r.number()}
		if r.err == nil && (s.len > s.cap || s.cap == 0 || !x.holds(offset, t.Elem(), s.cap)) {
			r.err = errDamaged
		}
		if r.err == nil {
			s.at = unsafe.Add(x.at, offset)
			*(*sliceHead)(p) = s
		}
	default:
		r.err = errDamaged
	}
}

func (r *reader) mapping(t reflect.Type, p unsafe.Pointer) {
	switch r.number() {
	case tagNil:
	case tagInside:
		n := r.upTo(r.left + 1)
		m := reflect.MakeMap(t)
		for range n {
			key, value := reflect.New(t.Key()), reflect.New(t.Elem())
			r.value(t.Key(), key.UnsafePointer())
			r.value(t.Elem(), value.UnsafePointer())
			if r.err != nil {
				return
			}
			m.SetMapIndex(key.Elem(), value.Elem())
		}
		reflect.NewAt(t, p).Elem().Set(m)
	default:
		r.err = errDamaged
	}
}

func (r *reader) face(t reflect.Type, p unsafe.Pointer) {
	switch r.number() {
	case tagNil:
	case tagInside:
		i := r.upTo(len(r.faces))
		if r.err != nil || !r.faces[i].AssignableTo(t) {
			r.err = errDamaged
			return
		}
		v := reflect.New(r.faces[i])
		r.value(r.faces[i], v.UnsafePointer())
		reflect.NewAt(t, p).Elem().Set(v.Elem())
	default:
		r.err = errDamaged
	}
}
