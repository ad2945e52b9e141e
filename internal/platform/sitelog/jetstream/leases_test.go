package jetstream_test

import (
	"testing"

	"ramprow/internal/platform/lease"
	"ramprow/internal/platform/lease/leasetest"
)

func TestLeases(t *testing.T) {
	leasetest.Run(t, func(t *testing.T) lease.Store { return connect(t, start(t, t.TempDir())).Leases() })
}
