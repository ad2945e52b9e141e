package job

import (
	"testing"
)

// BenchmarkSnapshot measures a site with 300 jobs that are done but for the
// invoice, the largest that open jobs get: what the writer waits for (capture),
// what happens beside it (encode), and a start (restore).
//
//	go test ./services/job -run '^$' -bench BenchmarkSnapshot -benchtime 5x
func BenchmarkSnapshot(b *testing.B) {
	s := proved(b, "follower-4")
	for n := range uint64(300) {
		j := s.job().clone()
		j.Name, j.Number = jobName(n+1), n+1
		s.st.jobs[j.Name] = j
	}
	encode := snapshot(s.st)
	data, err := encode()
	if err != nil {
		b.Fatal(err)
	}
	b.Run("capture", func(b *testing.B) {
		for b.Loop() {
			encode = snapshot(s.st)
		}
	})
	b.Run("encode", func(b *testing.B) {
		b.SetBytes(int64(len(data)))
		for b.Loop() {
			if _, err := encode(); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("restore", func(b *testing.B) {
		b.SetBytes(int64(len(data)))
		for b.Loop() {
			st, err := restore("north", data)
			if err != nil || len(st.jobs) != len(s.st.jobs) {
				b.Fatalf("%v", err)
			}
		}
	})
}
