package curve

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"math"
)

// Digest is SHA-256 over the samples in order: angle and torque as IEEE 754
// doubles, least significant byte first; in lower-case hexadecimal.
func Digest(samples []Sample) string {
	h := sha256.New()
	var b [16]byte
	for _, s := range samples {
		binary.LittleEndian.PutUint64(b[:8], math.Float64bits(s.Angle))
		binary.LittleEndian.PutUint64(b[8:], math.Float64bits(s.Torque))
		h.Write(b[:])
	}
	return hex.EncodeToString(h.Sum(nil))
}
