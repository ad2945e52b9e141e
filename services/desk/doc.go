// Package desk shows the workshop to the people in it: pages for a browser, made
// on the server from what the four services say through gRPC, and kept current
// by server-sent events. It holds no truth: whatever a page changes is a call to
// a service, made in the name of the person who looks at it.
package desk
