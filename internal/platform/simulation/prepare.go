package simulation

import (
	"fmt"

	"ramprow/internal/platform/sitelog"
)

// Prepare makes requests one after the other in a world without faults and gives
// the logs they leave, to begin other runs with. A refusal is an error.
func Prepare(c Config, requests []Request) (before []sitelog.Record, err error) {
	broke := bubble(func() { before, err = newWorld(c).prepare(requests) })
	if broke != nil {
		return nil, broke
	}
	return before, err
}

func (w *world) prepare(requests []Request) ([]sitelog.Record, error) {
	defer w.stopAll()
	w.era = "before:"
	if err := w.startFirst(); err != nil {
		return nil, err
	}
	for _, request := range requests {
		for _, r := range w.running() {
			if r.service.Name == request.Service {
				w.send(r, request)
			}
		}
		w.settle()
		last := w.calls[len(w.calls)-1]
		if !last.Answered || last.Err != nil {
			return nil, fmt.Errorf("prepare: %s: %w", request.short(), last.Err)
		}
	}
	return w.records()
}
