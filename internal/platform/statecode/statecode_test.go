package statecode_test

import (
	"bytes"
	"reflect"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/wrapperspb"
	"pgregory.net/rapid"

	"ramprow/internal/platform/statecode"
)

// all has a field of every kind.
type all struct {
	Yes     bool
	Small   int8
	Big     int64
	Count   uint32
	Ratio   float64
	Name    string
	Raw     []byte
	List    []inner
	ByName  map[string]*inner
	ByCount map[uint64]string
	None    *inner
	At      time.Time
	For     time.Duration
}

type inner struct {
	Word string
	Next *inner
}

func draw(t *rapid.T) all {
	word := rapid.String()
	pointer := rapid.Custom(func(t *rapid.T) *inner {
		return rapid.SampledFrom([]*inner{nil, {Word: word.Draw(t, "word"), Next: &inner{}}}).Draw(t, "inner")
	})
	a := all{
		Yes: rapid.Bool().Draw(t, "yes"), Small: rapid.Int8().Draw(t, "small"), Big: rapid.Int64().Draw(t, "big"),
		Count: rapid.Uint32().Draw(t, "count"), Ratio: rapid.Float64().Draw(t, "ratio"), Name: word.Draw(t, "name"),
		For: time.Duration(rapid.Int64().Draw(t, "for")), None: pointer.Draw(t, "pointer"),
	}
	if rapid.Bool().Draw(t, "filled") {
		a.Raw = rapid.SliceOf(rapid.Byte()).Draw(t, "raw")
		a.List = rapid.SliceOf(rapid.Custom(func(t *rapid.T) inner { return inner{Word: word.Draw(t, "w")} })).Draw(t, "list")
		a.ByName = rapid.MapOf(word, pointer).Draw(t, "by name")
		a.ByCount = rapid.MapOf(rapid.Uint64(), word).Draw(t, "by count")
		a.At = time.Unix(rapid.Int64Range(-1<<40, 1<<40).Draw(t, "s"), rapid.Int64Range(0, 999_999_999).Draw(t, "ns")).UTC()
	}
	return a
}

func TestWhatWasWrittenIsReadExactly(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := draw(t)
		data, err := statecode.Encode(&want)
		if err != nil {
			t.Fatal(err)
		}
		var got all
		if err := statecode.Decode(data, &got); err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(got, want) {
			t.Fatalf("read %+v, wrote %+v", got, want)
		}
		again, err := statecode.Encode(got)
		if err != nil || !bytes.Equal(again, data) {
			t.Fatalf("the same value has other bytes (%v)", err)
		}
		if cut := rapid.IntRange(0, len(data)-1).Draw(t, "cut"); statecode.Decode(data[:cut], &all{}) == nil {
			t.Fatalf("%d of %d bytes were read without an error", cut, len(data))
		}
	})
}

func TestMessages(t *testing.T) {
	type held struct{ One, None *wrapperspb.StringValue }
	data, err := statecode.Encode(held{One: wrapperspb.String("x")})
	if err != nil {
		t.Fatal(err)
	}
	var got held
	if err := statecode.Decode(data, &got); err != nil {
		t.Fatal(err)
	}
	if !proto.Equal(got.One, wrapperspb.String("x")) || got.None != nil {
		t.Fatalf("read %v", got)
	}
}

// What cannot be kept is refused, never left out.
func TestRefusals(t *testing.T) {
	for name, v := range map[string]any{
		"a hidden field": struct{ hidden int }{1},
		"a function":     struct{ F func() }{func() {}},
		"an interface":   struct{ V any }{1},
		"nothing":        nil,
	} {
		if _, err := statecode.Encode(v); err == nil {
			t.Errorf("%s was encoded", name)
		}
	}
}

func TestSchema(t *testing.T) {
	type before struct{ A, B int }
	type renamed struct{ A, C int }
	type retyped struct {
		A int
		B []int
	}
	base := statecode.Schema[before](1)
	if base != statecode.Schema[before](1) {
		t.Error("the same type has two schemas")
	}
	others := map[string]uint32{
		"another version": statecode.Schema[before](2),
		"a renamed field": statecode.Schema[renamed](1),
		"another type":    statecode.Schema[retyped](1),
		"recursive":       statecode.Schema[inner](1),
	}
	for name, other := range others {
		if other == base {
			t.Errorf("%s does not change the schema", name)
		}
	}
}

func FuzzDecode(f *testing.F) {
	data, err := statecode.Encode(all{Name: "x", List: []inner{{Word: "y"}}, ByName: map[string]*inner{"z": {}}})
	if err != nil {
		f.Fatal(err)
	}
	f.Add(data)
	f.Fuzz(func(t *testing.T, data []byte) {
		var a all
		if err := statecode.Decode(data, &a); err != nil {
			return
		}
		if _, err := statecode.Encode(a); err != nil {
			t.Fatalf("what was read cannot be written: %v", err)
		}
	})
}
