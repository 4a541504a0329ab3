package document

import (
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/fxamacker/cbor/v2"
	"github.com/tinylib/msgp/msgp"
	"pgregory.net/rapid"
)

func picker(t testing.TB, pointers ...string) *Picker {
	t.Helper()
	p, err := NewPicker(pointers)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func unhex(t testing.TB, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.ReplaceAll(s, " ", ""))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// text writes a value for comparison.
func text(v Value, p *Picked) string {
	switch v.Kind {
	case Absent:
		return "-"
	case Number:
		if v.Text != nil {
			return string(v.Text)
		}
		return fmt.Sprint(v.Num)
	case Text:
		return fmt.Sprintf("%q", v.Text)
	case Bytes:
		return fmt.Sprintf("%x", v.Text)
	case List:
		var items []string
		for _, i := range p.Items[v.From:v.To] {
			items = append(items, text(i, p))
		}
		return "[" + strings.Join(items, " ") + "]"
	}
	return "other"
}

// TestPointers are the examples of RFC 6901, section 5.
func TestPointers(t *testing.T) {
	const doc = `{ "foo": ["bar", "baz"], "": 0, "a/b": 1, "c%d": 2, "e^f": 3, "g|h": 4, "i\\j": 5, "k\"l": 6, " ": 7, "m~n": 8 }`
	want := [][2]string{
		{"", "other"}, {"/foo", `["bar" "baz"]`}, {"/foo/0", `"bar"`}, {"/", "0"}, {"/a~1b", "1"}, {"/c%d", "2"},
		{"/e^f", "3"}, {"/g|h", "4"}, {`/i\j`, "5"}, {`/k"l`, "6"}, {"/ ", "7"}, {"/m~0n", "8"},
		// Section 4: no leading zeros, and what is not there is no value.
		{"/foo/00", "-"}, {"/foo/2", "-"}, {"/foo/-", "-"}, {"/bar", "-"}, {"/foo/0/x", "-"},
	}
	var pointers []string
	for _, w := range want {
		pointers = append(pointers, w[0])
	}
	var out Picked
	if err := picker(t, pointers...).JSON([]byte(doc), &out); err != nil {
		t.Fatal(err)
	}
	for i, w := range want {
		if got := text(out.Values[i], &out); got != w[1] {
			t.Errorf("%q leads to %s, want %s", w[0], got, w[1])
		}
	}
	for _, bad := range []string{"foo", "/a~", "/a~2"} {
		if _, err := NewPicker([]string{bad}); err == nil {
			t.Errorf("%q is taken for a pointer", bad)
		}
	}
}

func TestJSON(t *testing.T) {
	p := picker(t, "/a", "/b/c", "/l", "/l/1/x")
	for _, c := range [][2]string{
		{`{"a":1.5e3,"b":{"c":"x"},"l":[1,2]}`, `1.5e3 "x" [1 2] -`},
		{`{"a":true,"b":{"c":null},"l":[0,{"x":"y"}]}`, `1 - other "y"`},
		{`{"a":"\u00b0\n","a":"\"","b":7}`, `"\"" - - -`},
		{` { "l" : [ "s" , false , null ] , "a" : -0 } `, `-0 - ["s" 0 -] -`},
		{`[1]`, "- - - -"},
		{`7`, "- - - -"},
	} {
		var out Picked
		if err := p.JSON([]byte(c[0]), &out); err != nil {
			t.Errorf("%s: %v", c[0], err)
			continue
		}
		var got []string
		for _, v := range out.Values {
			got = append(got, text(v, &out))
		}
		if g := strings.Join(got, " "); g != c[1] {
			t.Errorf("%s gives %s, want %s", c[0], g, c[1])
		}
	}
	for text, at := range map[string]int{`{"a":}`: 5, `{"a":1`: 5, `{"a":1} x`: 8, ``: 0, `{'a':1}`: 1, strings.Repeat("[", 40) + strings.Repeat("]", 40): 33} {
		var out Picked
		var bad *Error
		if err := p.JSON([]byte(text), &out); !errors.As(err, &bad) || bad.Offset != at {
			t.Errorf("%q: %v, want byte %d", text, err, at)
		}
	}
}

// TestCBOR has the examples of RFC 8949, appendix A.
func TestCBOR(t *testing.T) {
	c, err := NewCBOR()
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range []struct{ hex, pointer, want string }{
		{"a26161016162820203", "/a", "1"},
		{"a26161016162820203", "/b", "[2 3]"},
		{"a26161016162820203", "/b/1", "3"},
		{"a201020304", "/3", "4"},
		{"fb3ff199999999999a", "", "1.1"},
		{"f93e00", "", "1.5"},
		{"3903e7", "", "-1000"},
		{"1bffffffffffffffff", "", "1.8446744073709552e+19"},
		{"c11a514b67b0", "", "1.36389624e+09"},
		{"c1fb41d452d9ec200000", "", "1.3638962405e+09"},
		{"4401020304", "", "01020304"},
		{"6449455446", "", `"IETF"`},
		{"bf61610161629f0203ffff", "/b/0", "2"},
		{"f6", "", "-"},
		{"f5", "", "1"},
	} {
		var out Picked
		if err := c.Pick(picker(t, x.pointer), unhex(t, x.hex), &out); err != nil {
			t.Errorf("%s: %v", x.hex, err)
		} else if got := text(out.Values[0], &out); got != x.want {
			t.Errorf("%s at %q is %s, want %s", x.hex, x.pointer, got, x.want)
		}
	}
	for _, bad := range []string{"", "a2616101", "9bffffffffffffffff", "a1616101ff", "1c", strings.Repeat("81", 40) + "01"} {
		var out Picked
		var e *Error
		if err := c.Pick(picker(t, "/a"), unhex(t, bad), &out); !errors.As(err, &e) {
			t.Errorf("%s is taken: %v", bad, err)
		}
	}
}

// TestMessagePack: the first example is the one on the format's front page, the
// others are by its specification (from memory).
func TestMessagePack(t *testing.T) {
	for _, x := range []struct{ hex, pointer, want string }{
		{"82 a7636f6d70616374 c3 a6736368656d61 00", "/compact", "1"},
		{"82 a7636f6d70616374 c3 a6736368656d61 00", "/schema", "0"},
		{"81 01 ff", "/1", "-1"},
		{"93 01 ca3fc00000 cb3ff199999999999a", "", "[1 1.5 1.1]"},
		{"92 01 91 02", "", "other"},
		{"92 01 91 02", "/1/0", "2"},
		{"c4 02 0102", "", "0102"},
		{"d9 01 41", "", `"A"`},
		{"cf ffffffffffffffff", "", "1.8446744073709552e+19"},
		{"d3 8000000000000000", "", "-9.223372036854776e+18"},
		{"c0", "", "-"},
		{"92 d6ff00000000 05", "/1", "5"},
	} {
		var out Picked
		if err := picker(t, x.pointer).MessagePack(unhex(t, x.hex), &out); err != nil {
			t.Errorf("%s: %v", x.hex, err)
		} else if got := text(out.Values[0], &out); got != x.want {
			t.Errorf("%s at %q is %s, want %s", x.hex, x.pointer, got, x.want)
		}
	}
	for _, bad := range []string{"", "82a16101", "df ffffffff", "dd ffffffff c0", "c1", "00 00", strings.Repeat("91", 40) + "00", "81 90 00"} {
		var out Picked
		var e *Error
		if err := picker(t, "/a").MessagePack(unhex(t, bad), &out); !errors.As(err, &e) {
			t.Errorf("%s is taken: %v", bad, err)
		}
	}
}

// TestAlike: the same message in each of the three forms, written by libraries,
// gives the same values.
func TestAlike(t *testing.T) {
	c, err := NewCBOR()
	if err != nil {
		t.Fatal(err)
	}
	leaf := rapid.OneOf(
		rapid.Map(rapid.Float64Range(-1e9, 1e9), func(v float64) any { return v }),
		rapid.Map(rapid.StringMatching(`[a-z"\\/é ]{0,8}`), func(v string) any { return v }),
		rapid.Map(rapid.Bool(), func(v bool) any { return v }),
		rapid.Just[any](nil),
	)
	name := rapid.SampledFrom([]string{"a", "b", "c~d", "e/f", ""})
	list := rapid.Map(rapid.SliceOfN(leaf, 0, 4), func(v []any) any { return v })
	inner := rapid.Map(rapid.MapOfN(name, rapid.OneOf(leaf, list), 0, 4), func(v map[string]any) any { return v })
	rapid.Check(t, func(t *rapid.T) {
		doc := rapid.MapOfN(name, rapid.OneOf(leaf, list, inner), 0, 5).Draw(t, "message")
		p, err := NewPicker([]string{"/a", "/b", "/c~0d", "/e~1f", "/", "/a/a", "/a/b", "/b/0", "/b/c~0d", "//"})
		if err != nil {
			t.Fatal(err)
		}
		j, err := json.Marshal(doc)
		if err != nil {
			t.Fatal(err)
		}
		b, err := cbor.Marshal(doc)
		if err != nil {
			t.Fatal(err)
		}
		m, err := msgp.AppendIntf(nil, doc)
		if err != nil {
			t.Fatal(err)
		}
		var all [3]Picked
		if err := errors.Join(p.JSON(j, &all[0]), c.Pick(p, b, &all[1]), p.MessagePack(m, &all[2])); err != nil {
			t.Fatalf("%s: %v", j, err)
		}
		for i := range all[0].Values {
			x, y, z := plainText(t, all[0].Values[i], &all[0]), plainText(t, all[1].Values[i], &all[1]), plainText(t, all[2].Values[i], &all[2])
			if x != y || y != z {
				t.Fatalf("%s: value %d is %s in JSON, %s in CBOR, %s in MessagePack", j, i, x, y, z)
			}
		}
		if all[0].Found != all[1].Found || all[1].Found != all[2].Found {
			t.Fatalf("%s: found %d %d %d", j, all[0].Found, all[1].Found, all[2].Found)
		}
	})
}

// plainText is text with the digits of JSON read.
func plainText(t *rapid.T, v Value, p *Picked) string {
	if v.Kind == Number && v.Text != nil {
		if err := json.Unmarshal(v.Text, &v.Num); err != nil || math.IsInf(v.Num, 0) {
			t.Fatalf("%q is no number", v.Text)
		}
		v.Text = nil
	}
	if v.Kind != List {
		return text(v, p)
	}
	var items []string
	for _, i := range p.Items[v.From:v.To] {
		items = append(items, plainText(t, i, p))
	}
	return fmt.Sprint(items)
}

// fuzz picks from any bytes: that ends, and either fails within the message or
// gives values of which every part lies where it should.
func fuzz(f *testing.F, pick func(p *Picker, b []byte, out *Picked) error) {
	p := picker(f, "/a", "/a/0", "/b/c", "", "/l", "/1")
	f.Fuzz(func(t *testing.T, b []byte) {
		var out Picked
		err := pick(p, b, &out)
		var bad *Error
		if err != nil {
			if !errors.As(err, &bad) || bad.Offset < 0 || bad.Offset > len(b) || bad.What == "" {
				t.Fatalf("%v of %d bytes", err, len(b))
			}
			return
		}
		if len(out.Items) > mostItems || len(out.Values) != 6 {
			t.Fatalf("%d items, %d values", len(out.Items), len(out.Values))
		}
		for _, v := range out.Values {
			if v.Kind == List && (v.From < 0 || v.From > v.To || v.To > len(out.Items)) {
				t.Fatalf("list %d to %d of %d", v.From, v.To, len(out.Items))
			}
		}
	})
}

func FuzzJSON(f *testing.F) {
	for _, s := range []string{`{"a":[1,"x",{}],"b":{"c":1e5},"l":[]}`, `[[[]]]`, `"\ud800"`, `{"a":1,"a":null}`, ``} {
		f.Add([]byte(s))
	}
	fuzz(f, (*Picker).JSON)
}

func FuzzCBOR(f *testing.F) {
	c, err := NewCBOR()
	if err != nil {
		f.Fatal(err)
	}
	for _, s := range []string{"a26161016162820203", "bf61610161629f0203ffff", "c11a514b67b0", "9bffffffffffffffff"} {
		f.Add(unhex(f, s))
	}
	fuzz(f, func(p *Picker, b []byte, out *Picked) error { return c.Pick(p, b, out) })
}

func FuzzMessagePack(f *testing.F) {
	for _, s := range []string{"82a7636f6d70616374c3a6736368656d6100", "93 01 ca3fc00000 cb3ff199999999999a", "df ffffffff", "c7 0c ff 00000000 0000000000000000"} {
		f.Add(unhex(f, s))
	}
	fuzz(f, (*Picker).MessagePack)
}
