package identity

import (
	"container/list"
	"crypto/sha256"
	"sync"
	"time"
)

// digest stands for a token, so that the cache holds no secret and its keys
// have one size.
type digest = [sha256.Size]byte

// cache remembers verified tokens: at most size of them, the least recently
// used goes first, none beyond its expiry.
type cache struct {
	mu     sync.Mutex
	size   int
	recent *list.List // of *verified, the most recently used in front
	byKey  map[digest]*list.Element
}

type verified struct {
	key     digest
	id      Identity
	expires time.Time
}

func newCache(size int) *cache {
	return &cache{size: size, recent: list.New(), byKey: map[digest]*list.Element{}}
}

func (c *cache) get(key digest, now time.Time) (Identity, bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	element, ok := c.byKey[key]
	if !ok {
		return Identity{}, false
	}
	entry, _ := element.Value.(*verified)
	if !now.Before(entry.expires) {
		c.drop(element)
		return Identity{}, false
	}
	c.recent.MoveToFront(element)
	return entry.id, true
}

func (c *cache) put(key digest, id Identity, expires time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	// Two calls may have verified the same token side by side.
	if _, ok := c.byKey[key]; ok {
		return
	}
	if c.recent.Len() >= c.size {
		c.drop(c.recent.Back())
	}
	c.byKey[key] = c.recent.PushFront(&verified{key: key, id: id, expires: expires})
}

func (c *cache) drop(element *list.Element) {
	entry, _ := c.recent.Remove(element).(*verified)
	delete(c.byKey, entry.key)
}
