package record

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

var noon = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

func sample(readings int) Record {
	r := Record{
		Job: Job{Workshop: "north", Job: "jobs/1", Vehicle: "AB 123", VIN: "YMR0RN16ZHA000001", Customer: "Invented Person", Opened: noon},
		Result: Result{
			State: "complete", Signed: "ada", SignedAt: &noon, AsOf: noon, Notices: []string{MakersData},
			Joints: []Joint{{Joint: "cover", Title: "Cover", State: "proved", Fasteners: 2, Stages: []string{"10 N·m (9 to 11)"}}},
		},
	}
	for i := range readings {
		r.Readings = append(r.Readings, Reading{
			Number: uint32(i + 1), Joint: "cover", Fastener: 1, Stage: 1, Torque: 10.25, At: noon, By: "ada", Wrench: "wrenches/big",
			Verdict: "conforms", Counts: true, Risk: 1e-7, Basis: Basis{Asked: "10 N·m (9 to 11)", Tool: "Big wrench"},
		})
	}
	return r
}

func sealed(t testing.TB, r Record) *Sealed {
	t.Helper()
	s, err := Seal(r)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestProof(t *testing.T) {
	s := sealed(t, sample(3))
	p, err := Verify(s.JSON)
	if err != nil {
		t.Fatal(err)
	}
	if p.Sum != s.Sum || len(p.Hashes) != 3 || p.Job != "jobs/1" || p.State != "complete" {
		t.Errorf("proof %+v", p)
	}
	var compact bytes.Buffer
	if err := json.Compact(&compact, s.JSON); err != nil {
		t.Fatal(err)
	}
	if _, err := Verify(compact.Bytes()); err != nil {
		t.Errorf("the same without blanks: %v", err)
	}
}

// TestChanges edits the file as somebody with an editor would.
func TestChanges(t *testing.T) {
	whole := string(sealed(t, sample(4)).JSON)
	second := strings.Index(whole, `"number": 2`)
	cut := func(text, from, to string) string {
		a := strings.Index(text, from)
		return text[:a] + text[a+strings.Index(text[a:], to):]
	}
	for _, c := range []struct {
		name, file string
		reading    int
		says       string
	}{
		{"a torque", whole[:second] + strings.Replace(whole[second:], "10.25", "10.26", 1), 2, "changed"},
		{"a member put in", strings.Replace(whole, `"number": 3,`, `"number": 3, "note": "fine",`, 1), 3, "changed"},
		{"a member twice", strings.Replace(whole, `"number": 3,`, `"number": 3, "number": 3,`, 1), 0, "twice"},
		{"a number", strings.Replace(whole, `"number": 4`, `"number": 5`, 1), 4, "number 5 stands in its place"},
		{"the customer", strings.Replace(whole, "Invented Person", "Somebody", 1), 0, "head"},
		{"the signature", strings.Replace(whole, `"signed_by": "ada"`, `"signed_by": "ben"`, 1), 0, "result"},
		{"a departure put in", strings.Replace(whole, `"departure": null`, `"departure": {}`, 1), 0, "result"},
		{"a member beside", strings.Replace(whole, `"sum":`, `"more": 1, "sum":`, 1), 0, "no hash covers it"},
		{"the readings gone", cut(whole, `"readings": [`, `"result":`), 0, "missing"},
		{"another form", strings.Replace(whole, "record/1", "record/2", 1), 0, "format"},
		{"cut off", whole[:len(whole)/2], 0, "no JSON"},
		{"more after it", whole + "{}", 0, "after"},
		{"no UTF-8", strings.Replace(whole, "ada", "\xff", 1), 0, "UTF-8"},
		{"half a character", strings.Replace(whole, "ada", `\ud800`, 1), 0, "half a character"},
		{"a number no double holds", strings.Replace(whole, "10.25", "1e999", 1), 0, "range"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if c.file == whole {
				t.Fatal("nothing was changed")
			}
			_, err := Verify([]byte(c.file))
			wantBroken(t, err, c.reading, c.says)
		})
	}
}

func wantBroken(t *testing.T, err error, reading int, says string) {
	t.Helper()
	broken, ok := errors.AsType[*BrokenError](err)
	if !ok || broken.Reading != reading || !strings.Contains(broken.Problem, says) {
		t.Errorf("got %v, want reading %d and %q", err, reading, says)
	}
}

// TestAnyChangeIsFound changes, drops, swaps or doubles one reading anywhere:
// the first one that differs is named.
func TestAnyChangeIsFound(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		n := rapid.IntRange(2, 12).Draw(r, "readings")
		file := decoded(r, sealed(t, sample(n)).JSON)
		readings := file[memberReadings].([]any)
		at := rapid.IntRange(0, n-2).Draw(r, "at")
		switch rapid.IntRange(0, 3).Draw(r, "how") {
		case 0:
			members := readings[at].(map[string]any)
			members["torque_nm"] = members["torque_nm"].(float64) + rapid.SampledFrom([]float64{1e-12, 0.1, -3}).Draw(r, "by")
		case 1:
			readings = append(readings[:at], readings[at+1:]...)
		case 2:
			readings[at], readings[at+1] = readings[at+1], readings[at]
		case 3:
			readings = append(readings[:at+1], readings[at:]...)
			at++
		}
		file[memberReadings] = readings
		data, err := json.Marshal(file)
		if err != nil {
			r.Fatal(err)
		}
		_, err = Verify(data)
		if broken, ok := errors.AsType[*BrokenError](err); !ok || broken.Reading != at+1 {
			r.Fatalf("got %v, want reading %d", err, at+1)
		}
	})
}

func decoded(t rapid.TB, data []byte) map[string]any {
	t.Helper()
	var file map[string]any
	if err := json.Unmarshal(data, &file); err != nil {
		t.Fatal(err)
	}
	return file
}

func TestCutOffAtTheEnd(t *testing.T) {
	file := decoded(t, sealed(t, sample(3)).JSON)
	file[memberReadings] = file[memberReadings].([]any)[:2]
	data, err := json.Marshal(file)
	if err != nil {
		t.Fatal(err)
	}
	_, err = Verify(data)
	wantBroken(t, err, 3, "missing")
}

// TestComputedAnew: a chain that somebody computed anew fits itself, and not
// the one that grew out of the true one.
func TestComputedAnew(t *testing.T) {
	proof := func(r Record) *Proof {
		p, err := Verify(sealed(t, r).JSON)
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	later := proof(sample(6))
	if err := proof(sample(4)).Follows(later); err != nil {
		t.Errorf("an earlier record: %v", err)
	}
	forged := sample(4)
	forged.Readings[2].Torque = 9.9
	wantBroken(t, proof(forged).Follows(later), 3, "computed anew")
	other := sample(4)
	other.Job.Customer = "Somebody"
	wantBroken(t, proof(other).Follows(later), 0, "head")
	wantBroken(t, proof(sample(8)).Follows(later), 7, "not in the other")
}

// TestCanonical holds the form against the examples of RFC 8785: section 3.2.2
// and 3.2.3, and the number samples of appendix B (from memory of the RFC).
func TestCanonical(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{`{"numbers":[333333333.33333329,1E30,4.50,2e-3,0.000000000000000000000000001]}`, `{"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27]}`},
		{"\"\\u20ac$\\u000F\\u000aA'\\u0042\\u0022\\u005c\\\\\\\"\\/\"", "\"€$\\u000f\\nA'B\\\"\\\\\\\\\\\"/\""},
		{`{"literals":[null,true,false]}`, `{"literals":[null,true,false]}`},
		// Sorted by UTF-16 code units: the smiley's surrogates come before U+FB33.
		{`{"\u20ac":1,"\r":2,"\ufb33":3,"1":4,"\ud83d\ude00":5,"\u0080":6,"\u00f6":7}`, "{\"\\r\":2,\"1\":4,\"\u0080\":6,\"ö\":7,\"€\":1,\"😀\":5,\"\ufb33\":3}"},
		{`[-0,0,1e21,1e20,1e-6,1e-7,9007199254740993,-1.5]`, `[0,0,1e+21,100000000000000000000,0.000001,1e-7,9007199254740992,-1.5]`},
		{` { "b" : [ ] , "a" : { } } `, `{"a":{},"b":[]}`},
	} {
		v, err := parse([]byte(c.in))
		if err != nil {
			t.Errorf("%s: %v", c.in, err)
			continue
		}
		if got := string(canonical(nil, v)); got != c.want {
			t.Errorf("%s\n got %s\nwant %s", c.in, got, c.want)
		}
	}
}

// TestDepth: nesting is bounded, so that no file exhausts the stack.
func TestDepth(t *testing.T) {
	_, err := parse([]byte(strings.Repeat("[", 1000)))
	if err == nil || !strings.Contains(err.Error(), "deeper") {
		t.Errorf("got %v", err)
	}
}

// TestStableForm holds the file and its sum against those kept in testdata,
// which a published record must always give.
func TestStableForm(t *testing.T) {
	kept, err := os.ReadFile("testdata/record.json")
	if err != nil {
		t.Fatal(err)
	}
	if got := sealed(t, sample(2)).JSON; !bytes.Equal(got, kept) {
		t.Errorf("the form has changed; got\n%s", got)
	}
	if _, err := Verify(kept); err != nil {
		t.Error(err)
	}
}

func TestPageEscapesAndNeedsNothing(t *testing.T) {
	r := sample(2)
	bad := `"><script>alert(1)</script>&`
	r.Job = Job{Workshop: bad, Job: bad, Vehicle: bad, VIN: bad, Customer: bad}
	r.Readings[0].By, r.Readings[0].Reason, r.Readings[0].Basis.Tool, r.Readings[0].Basis.Certificate = bad, bad, bad, bad
	r.Readings[1].TakesOut, r.Readings[1].Reason = 1, "wrong bolt"
	j := &r.Result.Joints[0]
	j.Title, j.Departure = bad, &Departure{Reason: bad, First: bad, Second: bad, At: noon}
	r.Result.Signed, r.Result.Left, r.Result.Notices = bad, []string{bad}, []string{bad, MakersData}
	s := sealed(t, r)
	html, err := HTML(r, s)
	if err != nil {
		t.Fatal(err)
	}
	for _, never := range []string{"<script", "http://", "https://", "src=", "@import", "url("} {
		if strings.Contains(html, never) {
			t.Errorf("the page holds %q", never)
		}
	}
	for _, always := range []string{s.Sum, s.Hashes[0][:12], "@page", "Departures", "taken out by 2", "maker&#39;s data count", "&lt;script&gt;"} {
		if !strings.Contains(html, always) {
			t.Errorf("the page lacks %q", always)
		}
	}
}

// FuzzVerify: whatever comes, the answer is a proof or the place that is
// wrong; and what is proved gives the same sum in its canonical form.
func FuzzVerify(f *testing.F) {
	for n := range 3 {
		f.Add(sealed(f, sample(n)).JSON)
	}
	f.Add([]byte(`{"format":"ramprow-tightening-record/1"}`))
	f.Add([]byte("[[[[[[[[[[[[[[[[[[[[[[[[[[[["))
	f.Add([]byte(`{"a":1,"a":2}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := Verify(data)
		if err != nil {
			if _, ok := errors.AsType[*BrokenError](err); !ok {
				t.Fatalf("the error is a %T", err)
			}
			return
		}
		v, err := parse(data)
		if err != nil {
			t.Fatal(err)
		}
		again, err := Verify(canonical(nil, v))
		if err != nil || again.Sum != p.Sum {
			t.Fatalf("in canonical form: %v", err)
		}
	})
}

func BenchmarkVerify(b *testing.B) {
	data := sealed(b, sample(250)).JSON
	b.SetBytes(int64(len(data)))
	for b.Loop() {
		if _, err := Verify(data); err != nil {
			b.Fatal(err)
		}
	}
}

func ExampleVerify() {
	s, err := Seal(sample(2))
	if err != nil {
		return
	}
	_, err = Verify(bytes.Replace(s.JSON, []byte("10.25"), []byte("11"), 1))
	fmt.Println(err)
	// Output: reading 1 was changed, or its hash
}
