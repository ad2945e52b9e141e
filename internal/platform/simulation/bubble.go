package simulation

import (
	"fmt"
	"runtime/debug"
	"testing"
	"testing/synctest"
)

// bubble runs fn with virtual time, within a test or outside of one. A panic in
// fn comes back as an error.
//
// synctest only takes a *testing.T. It uses nothing of it as long as the test
// neither fails nor panics, and fn does not get it, so an empty one will do. The
// package's tests notice should a later Go think otherwise.
func bubble(fn func()) (err error) {
	synctest.Test(new(testing.T), func(*testing.T) {
		defer func() {
			if p := recover(); p != nil {
				err = fmt.Errorf("the world broke: %v\n%s", p, debug.Stack())
			}
		}()
		fn()
	})
	return err
}
