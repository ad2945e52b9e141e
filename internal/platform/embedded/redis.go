package embedded

import (
	"crypto/rand"
	"fmt"
	"net/url"
	"sync"
	"time"

	"github.com/alicebob/miniredis/v2"
)

// redisTick is how late a key may expire. The server's own clock would look
// through all keys, sorted, at every command; this does so once per tick.
const redisTick = 2 * time.Second

// Redis is a Redis server inside this process: in memory alone, so that every
// start refills the read models from the log.
type Redis struct {
	server *miniredis.Miniredis
	url    string
	end    func()
}

// StartRedis listens on a free port of the loopback address. It is TCP and not
// an in-process pipe, because a pipe holds no bytes: a client that writes a long
// pipeline before it reads would wait for ever. A password made at random keeps
// the machine's other users out.
func StartRedis() (*Redis, error) {
	r := &Redis{server: miniredis.NewMiniRedis()}
	secret := rand.Text()
	r.server.RequireAuth(secret)
	if err := r.server.StartAddr("127.0.0.1:0"); err != nil {
		return nil, fmt.Errorf("start the embedded Redis: %w", err)
	}
	address := url.URL{Scheme: "redis", User: url.UserPassword("", secret), Host: r.server.Addr()}
	r.url = address.String()
	stop, ticking := make(chan struct{}), sync.WaitGroup{}
	ticking.Go(func() { r.tick(stop) })
	r.end = sync.OnceFunc(func() {
		close(stop)
		ticking.Wait()
		r.server.Close()
	})
	return r, nil
}

// tick makes keys expire, by the time that really passed.
func (r *Redis) tick(stop <-chan struct{}) {
	ticker := time.NewTicker(redisTick)
	defer ticker.Stop()
	last := time.Now()
	for {
		select {
		case <-stop:
			return
		case <-ticker.C:
			now := time.Now()
			r.server.FastForward(now.Sub(last))
			last = now
		}
	}
}

// URL is the address with the password, as readmodel.Connect takes it.
func (r *Redis) URL() string { return r.url }

// Close stops the server, and with it all that it held. Close those who use it
// first. Closing again does nothing.
func (r *Redis) Close() error {
	r.end()
	return nil
}
