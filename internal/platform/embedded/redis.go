package embedded

import (
	"crypto/rand"
	"fmt"
	"net/url"
	"sync"

	"github.com/alicebob/miniredis/v2"
)

// Redis is a Redis server inside this process: in memory alone, so that every
// start refills the read models from the log.
type Redis struct {
	server *miniredis.Miniredis
	secret string
	close  sync.Once
}

// StartRedis listens on a free port of the loopback address. It is TCP and not
// an in-process pipe, because a pipe holds no bytes: a client that writes a long
// pipeline before it reads would wait for ever. A password made at random keeps
// the machine's other users out.
func StartRedis() (*Redis, error) {
	r := &Redis{server: miniredis.NewMiniRedis(), secret: rand.Text()}
	r.server.RequireAuth(r.secret)
	r.server.ClockTTL(true) // Otherwise nothing ever expires.
	if err := r.server.StartAddr("127.0.0.1:0"); err != nil {
		return nil, fmt.Errorf("start the embedded Redis: %w", err)
	}
	return r, nil
}

// URL is the address with the password, as readmodel.Connect takes it.
func (r *Redis) URL() string {
	u := url.URL{Scheme: "redis", User: url.UserPassword("", r.secret), Host: r.server.Addr()}
	return u.String()
}

// Close stops the server, and with it all that it held. Close those who use it
// first. Closing again does nothing.
func (r *Redis) Close() error {
	r.close.Do(r.server.Close)
	return nil
}
