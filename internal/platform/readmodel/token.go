package readmodel

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"strings"

	"ramprow/internal/platform/fault"
)

// A page token is the last member of the page before, behind a digest of the
// query: a token of another query would silently skip rows. It is no secret and
// grants nothing, so it is not signed.
const digestSize = 8

func encodeToken(q ListQuery, last string) string {
	return base64.RawURLEncoding.EncodeToString(append(queryDigest(q), last...))
}

// decodeToken gives the member to go on after; empty for the first page.
func decodeToken(q ListQuery) (string, error) {
	if q.PageToken == "" {
		return "", nil
	}
	raw, err := base64.RawURLEncoding.Strict().DecodeString(q.PageToken)
	if err != nil || len(raw) <= digestSize {
		return "", badToken("is not one that this service gave")
	}
	if !bytes.Equal(raw[:digestSize], queryDigest(q)) {
		return "", badToken("belongs to another query; keep all other fields of the request the same")
	}
	last := string(raw[digestSize:])
	if _, ok := memberID(last); !ok || !strings.HasPrefix(last, escapeOrder(q.Prefix)) {
		return "", badToken("is not one that this service gave")
	}
	return last, nil
}

func badToken(description string) error {
	return fault.New(fault.Invalid, "PAGE_TOKEN_INVALID",
		"the page token cannot be used; begin again without one").WithField("page_token", "%s", description)
}

// queryDigest covers what must stay the same from page to page.
func queryDigest(q ListQuery) []byte {
	sum := sha256.Sum256(fmt.Appendf(nil, "%q %q %q %q %t", q.Site, q.Model, q.Index, q.Prefix, q.Descending))
	return sum[:digestSize]
}
