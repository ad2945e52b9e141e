package job

import (
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"

	"ramprow/internal/catalogue"
	"ramprow/internal/platform/readmodel/readmodeltest"
)

// sameEdition compares catalogues by what they were made of: the lookups follow.
var sameEdition = cmp.Comparer(func(a, b *catalogue.Catalogue) bool {
	return a.Version() == b.Version() && proto.Equal(a.Message(), b.Message())
})

// From a snapshot at any moment of a job's way from the door to the invoice,
// everything goes on as it would have without one. Every ninth moment is tried,
// and the last.
func TestSnapshots(t *testing.T) {
	s := proved(t, "follower-4")
	if _, err := s.close(job1); err != nil {
		t.Fatal(err)
	}
	for cut := len(s.log); cut >= 0; cut -= 9 {
		readmodeltest.Cut(t, Projection(), s.log, cut, sameEdition)
	}
}
