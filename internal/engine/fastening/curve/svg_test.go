package curve

import (
	"encoding/xml"
	"errors"
	"io"
	"strings"
	"testing"
)

// TestSVG: well-formed, with the marks that were found, and small however many
// samples there are.
func TestSVG(t *testing.T) {
	samples := shape{snug: 100, gradient: 1, yield: 160, fall: 15, end: 220, step: 0.001, noise: 0.1}.samples(1)
	r := analyse(t, samples, Settings{Window: 10})
	var b strings.Builder
	if err := WriteSVG(&b, samples, r, `bolt 3 of "head" <1 & 2>`); err != nil {
		t.Fatal(err)
	}
	text := b.String()
	for decoder := xml.NewDecoder(strings.NewReader(text)); ; {
		_, err := decoder.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatalf("not well-formed: %v", err)
		}
	}
	for _, want := range []string{"snug", "yield", "&lt;1 &amp; 2&gt;"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is missing", want)
		}
	}
	if len(text) > 64<<10 {
		t.Errorf("%d samples make %d bytes", len(samples), len(text))
	}
	if err := WriteSVG(io.Discard, nil, r, ""); err == nil {
		t.Error("nothing was drawn without an error")
	}
}
