package desk

import (
	"crypto/pbkdf2"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/identity"
)

const (
	// pinRounds is OWASP's figure for PBKDF2-HMAC-SHA256 of 2023 (from memory). A
	// PIN is short all the same: what guards it is the bound on tries.
	pinRounds   = 600_000
	pinMinimum  = 4
	pinMaximum  = 12
	pinTokenTTL = sessionLife
)

// Person may sign in with a PIN.
type Person struct {
	Name  string          `json:"name"`
	Site  string          `json:"site"`
	Roles []identity.Role `json:"roles"`
	Salt  string          `json:"salt"`
	PIN   string          `json:"pin"` // derived, never the digits
	// Rounds of the derivation, so that a register outlives a change of pinRounds.
	Rounds int `json:"rounds"`
}

// People is the register of those who sign in by name and PIN: a file that only
// its owner may read. It is read again when it changes.
type People struct {
	path   string
	signer *identity.Signer
	rounds int

	mu       sync.Mutex
	modified time.Time
	known    []Person
}

// OpenPeople uses a register; a file that is not there is an empty one.
func OpenPeople(path string, signer *identity.Signer) *People {
	return &People{path: path, signer: signer, rounds: pinRounds}
}

var errWrongPIN = fault.New(fault.Unauthenticated, "PIN_WRONG", "name and PIN do not belong together; try again or ask the owner for a new PIN")

// token proves a person by a PIN and issues a token for a shift.
func (p *People) token(site, name, pin string, now time.Time) (string, error) {
	people, err := p.load()
	if err != nil {
		return "", err
	}
	at := slices.IndexFunc(people, func(q Person) bool { return q.Name == name && q.Site == site })
	if at < 0 {
		// As slow as a wrong PIN: the answer's time tells nobody who is known.
		_, _ = derive(pin, "unknown", p.rounds) // only its time is wanted
		return "", errWrongPIN
	}
	derived, err := derive(pin, people[at].Salt, people[at].Rounds)
	if err != nil {
		return "", err
	}
	if subtle.ConstantTimeCompare([]byte(derived), []byte(people[at].PIN)) != 1 {
		return "", errWrongPIN
	}
	return p.signer.Issue(identity.Identity{Site: site, Person: name, Roles: people[at].Roles}, pinTokenTTL, now)
}

// Set gives a person a PIN, in place of an earlier one.
func (p *People) Set(id identity.Identity, pin string) error {
	if err := id.Validate(); err != nil {
		return err
	}
	if err := checkPIN(pin); err != nil {
		return err
	}
	people, err := p.load()
	if err != nil {
		return err
	}
	salt := rand.Text()
	derived, err := derive(pin, salt, p.rounds)
	if err != nil {
		return err
	}
	people = slices.DeleteFunc(slices.Clone(people), func(q Person) bool { return q.Name == id.Person && q.Site == id.Site })
	people = append(people, Person{Name: id.Person, Site: id.Site, Roles: id.Roles, Salt: salt, PIN: derived, Rounds: p.rounds})
	return p.save(people)
}

// Sites are those where somebody has a PIN.
func (p *People) sites() ([]string, error) {
	people, err := p.load()
	if err != nil {
		return nil, err
	}
	var sites []string
	for _, q := range people {
		if !slices.Contains(sites, q.Site) {
			sites = append(sites, q.Site)
		}
	}
	slices.Sort(sites)
	return sites, nil
}

func checkPIN(pin string) error {
	digits := strings.Trim(pin, "0123456789") == ""
	if !digits || len(pin) < pinMinimum || len(pin) > pinMaximum {
		return fault.New(fault.Invalid, "PIN_INVALID", "a PIN has %d to %d digits and nothing else", pinMinimum, pinMaximum)
	}
	return nil
}

func derive(pin, salt string, rounds int) (string, error) {
	key, err := pbkdf2.Key(sha256.New, pin, []byte(salt), rounds, sha256.Size)
	if err != nil {
		return "", fmt.Errorf("derive from a PIN: %w", err)
	}
	return base64.RawStdEncoding.EncodeToString(key), nil
}

func (p *People) load() ([]Person, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	info, err := os.Stat(p.path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("read the register of PINs: %w", err)
	}
	if p.known != nil && info.ModTime().Equal(p.modified) {
		return p.known, nil
	}
	data, err := os.ReadFile(p.path)
	if err != nil {
		return nil, fmt.Errorf("read the register of PINs: %w", err)
	}
	var people []Person
	if err := json.Unmarshal(data, &people); err != nil {
		return nil, fmt.Errorf("read the register of PINs: %s is damaged: %w", p.path, err)
	}
	p.known, p.modified = people, info.ModTime()
	return people, nil
}

// save writes beside and renames, so that the register is whole at any moment.
func (p *People) save(people []Person) error {
	data, err := json.MarshalIndent(people, "", "  ")
	if err != nil {
		return fmt.Errorf("write the register of PINs: %w", err)
	}
	fresh := filepath.Join(filepath.Dir(p.path), ".people-"+rand.Text())
	if err := os.WriteFile(fresh, data, 0o600); err != nil {
		return fmt.Errorf("write the register of PINs: %w", err)
	}
	if err := os.Rename(fresh, p.path); err != nil {
		return fmt.Errorf("write the register of PINs: %w", err)
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.known = nil
	return nil
}
