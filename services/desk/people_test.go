package desk

import (
	"crypto/ed25519"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"ramprow/internal/platform/identity"
)

func TestPeopleSignInByPIN(t *testing.T) {
	key, err := identity.NewKey()
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "people.json")
	people := OpenPeople(path, identity.NewSigner(identity.SignerConfig{Key: key}))
	people.rounds = 1000 // the derivation's cost is not what is tried here
	now := time.Now()
	if _, err := people.token("north", "tomas", "4711", now); !errors.Is(err, errWrongPIN) {
		t.Errorf("nobody is known, and tomas gets %v", err)
	}
	tomas := identity.Identity{Site: "north", Person: "tomas", Roles: []identity.Role{identity.Technician}}
	if err := people.Set(tomas, "4711"); err != nil {
		t.Fatal(err)
	}
	verifier, err := identity.NewVerifier(identity.VerifierConfig{Keys: []ed25519.PublicKey{key.Public()}})
	if err != nil {
		t.Fatal(err)
	}
	token, err := people.token("north", "tomas", "4711", now)
	if err != nil {
		t.Fatal(err)
	}
	if id, err := verifier.Verify(token); err != nil || id.Person != "tomas" || id.Site != "north" || !id.Has(identity.Technician) || id.Has(identity.Dispatcher) {
		t.Errorf("the token proves %v, %v", id, err)
	}
	for _, wrong := range [][3]string{{"north", "tomas", "4712"}, {"south", "tomas", "4711"}, {"north", "runa", "4711"}, {"north", "tomas", ""}} {
		if _, err := people.token(wrong[0], wrong[1], wrong[2], now); !errors.Is(err, errWrongPIN) {
			t.Errorf("%v gets %v", wrong, err)
		}
	}
	for _, bad := range []string{"", "123", "1234567890123", "12a4", "１２３４"} {
		if err := people.Set(tomas, bad); err == nil {
			t.Errorf("%q is taken as a PIN", bad)
		}
	}
	info, err := os.Stat(path)
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the register has mode %v, %v", info.Mode(), err)
	}
	if data, err := os.ReadFile(path); err != nil || len(data) == 0 || strings.Contains(string(data), `"4711"`) {
		t.Errorf("the register shows the PIN or nothing: %v", err)
	}
}
