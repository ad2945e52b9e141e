package scheduling

import (
	"fmt"
	"testing"
	"time"
)

// BenchmarkReact is one step done in a shop of ten bays, ten people and forty
// booked jobs: everything is planned anew and hardly anything moves.
func BenchmarkReact(b *testing.B) {
	s := newShop(b)
	for i := range 10 {
		s.set(bay(fmt.Sprintf("bays/b%d", i), "lift"))
		s.set(person(fmt.Sprintf("people/p%d", i), "engine"))
	}
	for i := range 40 {
		s.book(fmt.Sprintf("jobs/%d", i+1), time.Duration(2+i%9)*time.Hour)
	}
	s.hear(began("jobs/1"))
	for b.Loop() {
		if _, err := s.st.progress(done("jobs/1", 90*time.Minute), s.input()); err != nil {
			b.Fatal(err)
		}
	}
}
