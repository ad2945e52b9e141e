package rpc

import (
	"errors"
	"fmt"
	"net"
)

// ErrPlaintext says that tokens would cross a network in plain text.
var ErrPlaintext = errors.New("plain text is for the loopback only; configure TLS")

// mayListen lets plain text no further than this machine.
func (s *Server) mayListen(address net.Addr) error {
	tcp, ok := address.(*net.TCPAddr)
	if !ok || s.cfg.TLS != nil || tcp.IP.IsLoopback() {
		return nil
	}
	return fmt.Errorf("%w: listening on %s", ErrPlaintext, address)
}
