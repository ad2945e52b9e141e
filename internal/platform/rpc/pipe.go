package rpc

import (
	"context"
	"net"

	"google.golang.org/grpc/test/bufconn"
)

// pipeBuffer is one connection's buffer in bytes, each way.
const pipeBuffer = 256 << 10

// Pipe connects clients and a server within one process, with everything that a
// network connection has but the network. Serve it, and name it in ClientConfig.
type Pipe struct{ *bufconn.Listener }

// NewPipe makes a pipe.
func NewPipe() *Pipe { return &Pipe{bufconn.Listen(pipeBuffer)} }

// pipeConn marks a connection as one that never leaves the process.
type pipeConn struct{ net.Conn }

// Accept implements net.Listener.
func (p *Pipe) Accept() (net.Conn, error) {
	conn, err := p.Listener.Accept()
	if err != nil {
		return nil, err
	}
	return pipeConn{conn}, nil
}

func (p *Pipe) dial(ctx context.Context, _ string) (net.Conn, error) { return p.DialContext(ctx) }
