package snapshot

import (
	"fmt"
	"reflect"
	"sort"
	"unsafe"
)

// What keeps this safe: a value is only ever touched as the type that it has. The
// writer walks from a typed root. The reader allocates by type, and a pointer is
// set only where its target has been looked up in the target's own type (typeAt);
// so bytes that are wrong give wrong numbers and never a wild pointer. Memory that
// holds pointers is written through typed stores, which the garbage collector sees.

// region is memory that was allocated as a whole, or the largest part of it that
// the walk has met: n values of a type.
type region struct {
	at   unsafe.Pointer
	elem reflect.Type
	n    int
}

func (r *region) size() uintptr { return r.elem.Size() * uintptr(r.n) }

// holds says whether n values of a type lie at an offset of the region.
func (r *region) holds(offset uintptr, t reflect.Type, n int) bool {
	size := r.elem.Size()
	if offset >= r.size() {
		return false
	}
	if r.elem == t && offset%size == 0 {
		return offset/size+uintptr(n) <= uintptr(r.n)
	}
	return typeAt(r.elem, offset%size, t, n)
}

// typeAt says whether n values of type want lie at an offset of a value of type t.
func typeAt(t reflect.Type, offset uintptr, want reflect.Type, n int) bool {
	if t == want && offset == 0 && n == 1 {
		return true
	}
	switch t.Kind() {
	case reflect.Struct:
		for i := range t.NumField() {
			f := t.Field(i)
			if offset >= f.Offset && offset < f.Offset+f.Type.Size() {
				return typeAt(f.Type, offset-f.Offset, want, n)
			}
		}
	case reflect.Array:
		size := t.Elem().Size()
		if t.Elem() == want && offset%size == 0 && offset/size+uintptr(n) <= uintptr(t.Len()) {
			return true
		}
		return typeAt(t.Elem(), offset%size, want, n)
	}
	return false
}

// regions are all that a walk has met, none inside another.
type regions struct {
	list []region // in the order in which they were met; the root first
	by   []int    // indexes of list by address
}

// settle drops those that lie inside another.
func (rs *regions) settle() error {
	all := rs.list
	order := make([]int, len(all))
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(i, j int) bool {
		a, b := &all[order[i]], &all[order[j]]
		if a.at != b.at {
			return uintptr(a.at) < uintptr(b.at)
		}
		if a.size() != b.size() {
			return a.size() > b.size()
		}
		return a.elem != b.elem && a.holds(0, b.elem, b.n)
	})
	keep := make([]bool, len(all))
	last := -1
	for _, i := range order {
		if last >= 0 {
			l, r := &all[last], &all[i]
			if end := uintptr(l.at) + l.size(); uintptr(r.at) < end {
				if uintptr(r.at)+r.size() > end {
					return fmt.Errorf("%d of %s and %d of %s overlap in memory", l.n, l.elem, r.n, r.elem)
				}
				continue
			}
		}
		keep[i], last = true, i
	}
	rs.list, rs.by = nil, nil
	place := make([]int, len(all))
	for i := range all {
		if keep[i] {
			place[i] = len(rs.list)
			rs.list = append(rs.list, all[i])
		}
	}
	for _, i := range order {
		if keep[i] {
			rs.by = append(rs.by, place[i])
		}
	}
	return nil
}

// find gives the region that an address lies in, and how far.
func (rs *regions) find(at unsafe.Pointer, t reflect.Type, n int) (i int, offset uintptr, err error) {
	k := sort.Search(len(rs.by), func(k int) bool { return uintptr(rs.list[rs.by[k]].at) > uintptr(at) }) - 1
	if k >= 0 {
		i = rs.by[k]
		r := &rs.list[i]
		if offset = uintptr(at) - uintptr(r.at); r.holds(offset, t, n) {
			return i, offset, nil
		}
	}
	return 0, 0, fmt.Errorf("a pointer to %s leads to something else", t)
}

// sliceHead is how a slice lies in memory.
type sliceHead struct {
	at       unsafe.Pointer
	len, cap int
}

// faceOf is the value in an interface as a variable of its own type.
func faceOf(v reflect.Value) reflect.Value {
	out := reflect.New(v.Type())
	out.Elem().Set(v)
	return out
}
