package statecode

import (
	"fmt"
	"hash/fnv"
	"io"
	"reflect"
	"time"

	"google.golang.org/protobuf/proto"
)

var (
	messageType = reflect.TypeFor[proto.Message]()
	timeType    = reflect.TypeFor[time.Time]()
)

// Schema gives a number that changes with the make of T, and with version. Raise
// version when the same bytes come to mean something else. Messages count by
// their names alone, because protobuf reads what an older build wrote.
func Schema[T any](version uint32) uint32 {
	h := fnv.New32a()
	_, _ = fmt.Fprintf(h, "%d ", version) // a hash never fails
	describe(h, reflect.TypeFor[T](), map[reflect.Type]bool{})
	return h.Sum32()
}

// describe writes what a type is made of; a type within itself by name.
func describe(w io.Writer, t reflect.Type, within map[reflect.Type]bool) {
	_, _ = io.WriteString(w, t.Kind().String()+" ")
	switch {
	case t == timeType:
		_, _ = io.WriteString(w, "time")
	case t.Implements(messageType), within[t]:
		_, _ = io.WriteString(w, t.String())
	case t.Kind() == reflect.Pointer, t.Kind() == reflect.Slice:
		describe(w, t.Elem(), within)
	case t.Kind() == reflect.Map:
		describe(w, t.Key(), within)
		describe(w, t.Elem(), within)
	case t.Kind() == reflect.Struct:
		within[t] = true
		for i := range t.NumField() {
			_, _ = io.WriteString(w, t.Field(i).Name+" ")
			describe(w, t.Field(i).Type, within)
		}
		delete(within, t)
	}
	_, _ = io.WriteString(w, ";")
}
