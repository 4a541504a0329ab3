package block

// Values are one number a row that a row may lack.
type Values struct {
	// V has an element for each row, or is empty if no row has a value.
	V []float64
	// Has says which rows have a value; nil means that all have. Where a row has
	// none, V holds anything.
	Has []bool
}

// At is row i's value; ok is false if it has none.
func (v *Values) At(i int) (x float64, ok bool) {
	if len(v.V) == 0 || v.Has != nil && !v.Has[i] {
		return 0, false
	}
	return v.V[i], true
}

// Put sets the value of row i, the last one so far.
func (v *Values) Put(i int, x float64) {
	if len(v.V) == i+1 { // named twice: the last one counts
		v.V[i] = x
		return
	}
	v.pad(i)
	v.V = append(v.V, x)
	if v.Has != nil {
		v.Has = append(v.Has, true)
	}
}

// pad says that the rows up to n that were not put have no value.
func (v *Values) pad(n int) {
	if len(v.V) >= n {
		return
	}
	if v.Has == nil {
		v.Has = make([]bool, len(v.V), n)
		for i := range v.Has {
			v.Has[i] = true
		}
	}
	for len(v.V) < n {
		v.V, v.Has = append(v.V, 0), append(v.Has, false)
	}
}

// none says whether no row has a value.
func (v *Values) none() bool {
	if v.Has == nil {
		return len(v.V) == 0
	}
	for _, ok := range v.Has {
		if ok {
			return false
		}
	}
	return true
}

func (v *Values) slice(i, k int) Values {
	out := Values{}
	if len(v.V) > 0 {
		out.V = v.V[i:k:k]
	}
	if v.Has != nil {
		out.Has = v.Has[i:k:k]
	}
	return out
}

func (v *Values) pick(rows []int) Values {
	out := Values{}
	if len(v.V) > 0 {
		out.V = pick(v.V, rows)
	}
	if v.Has != nil {
		out.Has = pick(v.Has, rows)
	}
	return out
}

// add appends the values of more rows to those of `before` rows.
func (v *Values) add(before int, more Values, rows int) {
	if len(more.V) == 0 {
		if len(v.V) > 0 {
			v.pad(before + rows)
		}
		return
	}
	v.pad(before)
	if v.Has == nil && more.Has != nil {
		v.Has = make([]bool, before, before+rows)
		for i := range v.Has {
			v.Has[i] = true
		}
	}
	v.V = append(v.V, more.V...)
	switch {
	case v.Has != nil && more.Has != nil:
		v.Has = append(v.Has, more.Has...)
	case v.Has != nil:
		for range rows {
			v.Has = append(v.Has, true)
		}
	}
}

func (v *Values) clear() { v.V, v.Has = v.V[:0], nil }

func pick[T any](v []T, rows []int) []T {
	out := make([]T, len(rows))
	for i, k := range rows {
		out[i] = v[k]
	}
	return out
}
