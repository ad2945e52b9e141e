package readmodel

import (
	"context"
	"fmt"
	"strings"
	"testing"
)

// text600 makes a row of about 600 bytes.
var text600 = strings.Repeat("x", 600)

func overServersBench(b *testing.B, run func(b *testing.B, url string)) {
	b.Run("embedded", func(b *testing.B) { run(b, startEmbedded(b)) })
	b.Run("redis-server", func(b *testing.B) { run(b, startServer(b).url()) })
}

// BenchmarkCommits: how many commits a second reach Redis, each with one new row
// of 600 bytes in two indexes, when the log is never waited for.
func BenchmarkCommits(b *testing.B) {
	overServersBench(b, func(b *testing.B, url string) {
		log := newLog(b)
		a := newAuthor(b, log, "north")
		p := start(b, log, url, 1)
		a.put("first=x")
		p.settled("north", a.sequence)
		b.ResetTimer()
		for i := range b.N {
			a.put(fmt.Sprintf("n%d=%s", i, text600))
		}
		p.settled("north", a.sequence)
		b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "commits/s")
	})
}

// BenchmarkReadYourWrite: one commit, then the read that has to see it.
func BenchmarkReadYourWrite(b *testing.B) {
	overServersBench(b, func(b *testing.B, url string) {
		log := newLog(b)
		a := newAuthor(b, log, "north")
		p := start(b, log, url, 1)
		a.put("a=x")
		p.settled("north", a.sequence)
		b.ResetTimer()
		for i := range b.N {
			revision := a.put(fmt.Sprintf("n%d=%s", i%1000, text600))
			_, _, err := p.get(p.strict(), "north", "a", revision)
			must(b, err)
		}
	})
}

// BenchmarkRebuild: rows a second from a folded log to Redis.
func BenchmarkRebuild(b *testing.B) {
	const rows = 20_000
	overServersBench(b, func(b *testing.B, url string) {
		log := newLog(b)
		a := newAuthor(b, log, "north")
		for i := range rows {
			a.put(fmt.Sprintf("n%d=%s", i, text600))
		}
		store, err := Connect(Options{URL: url})
		must(b, err)
		defer func() { _ = store.Close() }()
		p, err := NewProjector(Config[*notes]{Projection: notesProjection(1), Log: log, Store: store})
		must(b, err)
		b.ResetTimer()
		for range b.N {
			must(b, p.Rebuild(context.Background(), "north", nil))
		}
		b.ReportMetric(float64(rows*b.N)/b.Elapsed().Seconds(), "rows/s")
	})
}

// BenchmarkReads: one row, and a page of 50 rows, of 1,000.
func BenchmarkReads(b *testing.B) {
	overServersBench(b, func(b *testing.B, url string) {
		log := newLog(b)
		a := newAuthor(b, log, "north")
		p := start(b, log, url, 1)
		for i := range 1000 {
			a.put(fmt.Sprintf("n%d=%s", i, text600))
		}
		p.settled("north", a.sequence)
		b.Run("Get", func(b *testing.B) {
			for range b.N {
				_, _, err := p.get(p.strict(), "north", "n7", 0)
				must(b, err)
			}
		})
		b.Run("List", func(b *testing.B) {
			for range b.N {
				_, err := p.strict().List(context.Background(), ListQuery{Site: "north", Model: "note", Index: "id"}, newRow)
				must(b, err)
			}
		})
	})
}
