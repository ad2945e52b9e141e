package demo

import "testing"

// BenchmarkCatalogues reads and checks both files.
func BenchmarkCatalogues(b *testing.B) {
	for b.Loop() {
		if _, err := Catalogues(); err != nil {
			b.Fatal(err)
		}
	}
}
