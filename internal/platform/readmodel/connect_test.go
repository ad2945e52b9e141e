package readmodel

import (
	"testing"

	"ramprow/internal/platform/fault"
)

func TestConnectRefusesWhatIsNoAddress(t *testing.T) {
	for _, url := range []string{"", "localhost:6379", "http://localhost", "redis://localhost/first"} {
		if _, err := Connect(Options{URL: url}); fault.KindOf(err) != fault.Invalid {
			t.Errorf("%q: %v", url, err)
		}
	}
}

func TestNewProjectorRefusesHalfAProjection(t *testing.T) {
	whole := Config[*notes]{Projection: notesProjection(1), Log: newLog(t), Store: &Store{}}
	if _, err := NewProjector(whole); err != nil {
		t.Fatal(err)
	}
	for name, damage := range map[string]func(*Config[*notes]){
		"no service": func(c *Config[*notes]) { c.Projection.Machine.Service = "" },
		"no evolve":  func(c *Config[*notes]) { c.Projection.Machine.Evolve = nil },
		"no version": func(c *Config[*notes]) { c.Projection.Version = 0 },
		"no models":  func(c *Config[*notes]) { c.Projection.Models = nil },
		"no rows":    func(c *Config[*notes]) { c.Projection.Row = nil },
		"no log":     func(c *Config[*notes]) { c.Log = nil },
		"no store":   func(c *Config[*notes]) { c.Store = nil },
	} {
		t.Run(name, func(t *testing.T) {
			half := whole
			damage(&half)
			if _, err := NewProjector(half); err == nil {
				t.Error("it was taken")
			}
		})
	}
}
