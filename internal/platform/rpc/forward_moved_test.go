package rpc_test

import (
	"sync/atomic"
	"testing"

	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/rpc"
	logv1 "ramprow/proto/ramprow/log/v1"
)

// A replica that was stopped in the middle of a call answers nothing and keeps
// its connections. When another has taken over its work, whoever waits for it is
// sent there, and does not wait for as long as it has time.
func TestACallLeavesAReplicaThatLostTheWork(t *testing.T) {
	key, err := identity.NewKey()
	if err != nil {
		t.Fatal(err)
	}
	arrived, never := make(chan struct{}), make(chan struct{})
	var elsewhere atomic.Value
	elsewhere.Store("")
	frozen := start(t, setup{key: &key, register: withLog(&fakeLog{drop: func(*logv1.DropParkedRequest) (*logv1.DropParkedResponse, error) {
		close(arrived)
		<-never
		return nil, nil //nolint:nilnil // nobody hears it
	}})})
	t.Cleanup(func() { close(never) })
	var answered atomic.Int32
	alive := start(t, setup{
		key:    &key,
		server: rpc.ServerConfig{Forwarding: &rpc.Forwarding{Elsewhere: func(string) string { return elsewhere.Load().(string) }}},
		register: withLog(&fakeLog{drop: func(*logv1.DropParkedRequest) (*logv1.DropParkedResponse, error) {
			answered.Add(1)
			return &logv1.DropParkedResponse{}, nil
		}}),
	})
	elsewhere.Store(frozen.client.Target)
	go func() {
		<-arrived
		elsewhere.Store("") // the lease has come here
	}()
	if err := callDrop(soon(t), alive); err != nil {
		t.Fatal(err)
	}
	if answered.Load() != 1 {
		t.Errorf("it was answered here %d times", answered.Load())
	}
}
