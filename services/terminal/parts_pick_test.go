package terminal

import (
	"strings"
	"testing"

	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

func TestPickEntries(t *testing.T) {
	for text, want := range map[string]pickEntry{
		"4006381333931":        {code: "4006381333931"},
		" MO-4212 ":            {code: "MO-4212"},
		"]E04006381333931":     {code: "]E04006381333931"},
		"4 x MO-4212":          {code: "MO-4212", quantity: 4},
		"4x MO-4212":           {code: "4x MO-4212"}, // the service says that it knows no such code
		"q":                    {stop: true},
		"=":                    {handOver: true},
		"= trolley 2":          {stageAt: "trolley 2"},
		"~":                    {handOver: true, partial: true},
		"~ trolley 2":          {stageAt: "trolley 2", partial: true},
		"-seal-1":              {undo: "seal-1"},
		"!unknown":             {short: true, cause: inventoryv1.CountCause_COUNT_CAUSE_UNKNOWN},
		"! spoiled  by water ": {short: true, cause: inventoryv1.CountCause_COUNT_CAUSE_SPOILED, note: "by water"},
	} {
		if got, err := parsePickEntry(text); err != nil || got != want {
			t.Errorf("%q: %+v, %v; want %+v", text, got, err, want)
		}
	}
	for text, want := range map[string]string{
		"":            "scan what you took",
		"0 x MO-4212": "0 pieces are none",
		"!":           "say why the bin lacks it",
		"!rust":       `! "rust" is unknown; use one of mislaid`,
		"-":           "name the line",
	} {
		if _, err := parsePickEntry(text); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", text, err, want)
		}
	}
}

// Whatever is scanned means one thing, or is refused.
func FuzzPickEntry(f *testing.F) {
	for _, text := range []string{"4006381333931", "4 x MO-4212", "!unknown gone", "-seal", "= trolley", "~", "q", "x x x", "=\x00", "é"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		e, err := parsePickEntry(text)
		if err != nil {
			return
		}
		meanings := 0
		for _, is := range []bool{e.code != "", e.short, e.undo != "", e.handOver, e.stageAt != "", e.stop} {
			if is {
				meanings++
			}
		}
		if meanings != 1 || e.quantity < 0 || e.short && e.cause == 0 {
			t.Errorf("%q means %+v", text, e)
		}
	})
}
