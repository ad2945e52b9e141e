// Package readmodeltest holds what services' tests have in common about their
// states and rows.
package readmodeltest

import (
	"bytes"
	"fmt"
	"reflect"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"google.golang.org/protobuf/testing/protocmp"

	"ramprow/internal/platform/readmodel"
	"ramprow/internal/platform/sitelog"
)

// T is what a test and a property test have in common.
type T interface {
	Helper()
	Fatalf(format string, args ...any)
}

// Cut checks that a history goes on from a snapshot as it would have without
// one: it snapshots the state after cut events, lets the state go on before the
// snapshot is encoded, restores it, applies the other events, and compares the
// state, all rows and the next snapshot with those of the whole history.
func Cut[S any](t T, p readmodel.Projection[S], events []sitelog.Event, cut int, options ...cmp.Option) {
	t.Helper()
	whole := p.Machine.New("north")
	for _, e := range events[:cut] {
		p.Machine.Evolve(whole, e)
	}
	encode := p.Machine.Snapshot(whole)
	for _, e := range events[cut:] {
		p.Machine.Evolve(whole, e)
	}
	data, err := encode()
	if err != nil {
		t.Fatalf("the snapshot after %d events: %v", cut, err)
	}
	restored, err := p.Machine.Restore("north", data)
	if err != nil {
		t.Fatalf("restore after %d events: %v", cut, err)
	}
	for _, e := range events[cut:] {
		p.Machine.Evolve(restored, e)
	}
	options = append(options, protocmp.Transform(), cmpopts.EquateEmpty(), withoutFunctions,
		cmp.Comparer(func(a, b *time.Location) bool { return a.String() == b.String() }),
		cmp.Exporter(func(reflect.Type) bool { return true }))
	if diff := cmp.Diff(whole, restored, options...); diff != "" {
		t.Fatalf("restored after %d of %d events, the state is another (-whole +restored):\n%s", cut, len(events), diff)
	}
	compareRows(t, p, whole, restored)
	compareSnapshots(t, p, whole, restored)
}

// withoutFunctions leaves out functions that a state holds, such as an order.
var withoutFunctions = cmp.FilterPath(func(path cmp.Path) bool {
	kind := path.Last().Type()
	return kind != nil && kind.Kind() == reflect.Func
}, cmp.Ignore())

func compareRows[S any](t T, p readmodel.Projection[S], a, b S) {
	t.Helper()
	for _, model := range p.Models {
		keys := p.Keys(a, model)
		if n := len(p.Keys(b, model)); n != len(keys) {
			t.Fatalf("restored, there are %d rows of %s, and %d otherwise", n, model, len(keys))
		}
		for _, key := range keys {
			one, isOne := p.Row(a, key)
			two, isTwo := p.Row(b, key)
			if diff := cmp.Diff(fmt.Sprint(isOne, one.Index), fmt.Sprint(isTwo, two.Index)) +
				cmp.Diff(one.Value, two.Value, protocmp.Transform()); diff != "" {
				t.Fatalf("restored, row %v is another:\n%s", key, diff)
			}
		}
	}
}

// compareSnapshots shows that equal states have equal bytes.
func compareSnapshots[S any](t T, p readmodel.Projection[S], a, b S) {
	t.Helper()
	one, err := p.Machine.Snapshot(a)()
	if err != nil {
		t.Fatalf("snapshot: %v", err)
	}
	two, err := p.Machine.Snapshot(b)()
	if err != nil {
		t.Fatalf("snapshot: %v", err)
	}
	if !bytes.Equal(one, two) {
		t.Fatalf("equal states have snapshots of %d and %d bytes that differ", len(one), len(two))
	}
}
