package embedded_test

import (
	"net/url"
	"testing"

	"ramprow/internal/platform/embedded"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/readmodel"
)

func TestRedis(t *testing.T) {
	server, err := embedded.StartRedis()
	if err != nil {
		t.Fatal(err)
	}
	ping := func(address string) error {
		store, err := readmodel.Connect(readmodel.Options{URL: address})
		if err != nil {
			t.Fatal(err)
		}
		defer func() { _ = store.Close() }()
		return store.Ping(t.Context())
	}
	if err := ping(server.URL()); err != nil {
		t.Errorf("with the password: %v", err)
	}
	open, err := url.Parse(server.URL())
	if err != nil {
		t.Fatal(err)
	}
	open.User = nil
	if err := ping(open.String()); fault.KindOf(err) != fault.Unavailable {
		t.Errorf("without the password: %v", err)
	}
	for range 2 {
		if err := server.Close(); err != nil {
			t.Error(err)
		}
	}
	if err := ping(server.URL()); fault.KindOf(err) != fault.Unavailable {
		t.Errorf("after Close: %v", err)
	}
}
