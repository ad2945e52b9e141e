package embedded_test

import (
	"net"
	"net/url"
	"testing"

	"ramprow/internal/platform/embedded"
)

func TestNATSListensOnLoopbackOnly(t *testing.T) {
	for _, address := range []string{"0.0.0.0:0", "example.test:4222", "nonsense", "127.0.0.1:many"} {
		if s, err := embedded.StartNATS(t.TempDir(), embedded.NATSOptions{Listen: address}); err == nil {
			embedded.StopNATS(s)
			t.Errorf("listens on %s", address)
		}
	}
	s, err := embedded.StartNATS(t.TempDir(), embedded.NATSOptions{Listen: "127.0.0.1:0"})
	if err != nil {
		t.Fatal(err)
	}
	defer embedded.StopNATS(s)
	u, err := url.Parse(s.ClientURL())
	if err != nil {
		t.Fatal(err)
	}
	conn, err := net.Dial("tcp", u.Host)
	if err != nil {
		t.Fatalf("nobody listens on %s: %v", u.Host, err)
	}
	_ = conn.Close()
}

func TestNATSNeedsAFolder(t *testing.T) {
	if _, err := embedded.StartNATS("", embedded.NATSOptions{}); err == nil {
		t.Error("started without a folder")
	}
}
