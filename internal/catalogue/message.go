package catalogue

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/fault"
	pb "ramprow/proto/ramprow/catalogue/v1"
)

// FromMessage checks a catalogue that came as a message and not as a file. Its
// version is that of the content, so the same catalogue sent twice has the same
// one. The error is a *Problems, as Load's; its places are field paths alone.
func FromMessage(m *pb.Catalogue) (*Catalogue, error) {
	nowhere := &places{at: map[string]spot{}, fields: map[spot]string{}}
	problems := validate(m, nowhere, nil)
	data, err := proto.MarshalOptions{Deterministic: true}.Marshal(m)
	if err != nil {
		return nil, fault.New(fault.Invalid, "CATALOGUE_UNREADABLE", "the catalogue cannot be encoded").Because(err)
	}
	c := newCatalogue(m, data)
	problems = tidy(append(problems, checkContent(c, nowhere)...))
	if all := (&Problems{List: problems}); all.Errors() > 0 {
		return nil, all
	}
	c.warnings = problems
	return c, nil
}

// Prepared makes the lookups of a catalogue that was checked before, under the
// version that it got then.
func Prepared(m *pb.Catalogue, version string) *Catalogue {
	c := newCatalogue(m, nil)
	c.version = version
	return c
}

// versionOf names content: id, edition and the start of a SHA-256.
func versionOf(m *pb.Catalogue, data []byte) string {
	sum := sha256.Sum256(data)
	return fmt.Sprintf("%s@%d+%s", m.GetId(), m.GetEdition(), hex.EncodeToString(sum[:6]))
}
