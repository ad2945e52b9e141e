package personal_test

import (
	"context"
	"errors"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	"ramprow/internal/platform/personal"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

const site = "north"

func vault(t testing.TB, store personal.Store) *personal.Vault {
	t.Helper()
	v := personal.NewVault(store, nil)
	t.Cleanup(v.Close)
	return v
}

func made(t testing.TB, v *personal.Vault, site, id string) *personal.Key {
	t.Helper()
	key, err := v.Make(context.Background(), site, id)
	if err != nil {
		t.Fatal(err)
	}
	return key
}

// Any text comes back, within any sentence, and only at its own site and under its own key.
func TestSealedTextComesBack(t *testing.T) {
	v := vault(t, &personal.Memory{})
	key, other := made(t, v, site, "j1"), made(t, v, site, "j2")
	made(t, v, "south", "j1")
	rapid.Check(t, func(t *rapid.T) {
		text, around := rapid.StringN(1, -1, 200).Draw(t, "text"), rapid.StringMatching(`[a-z {}:]*`).Draw(t, "around")
		sealed := key.Seal(text)
		if len(text) > 3 && strings.Contains(sealed, text) {
			t.Fatalf("%q stands in %q", text, sealed)
		}
		if key.Seal(text) != sealed || other.Seal(text) == sealed {
			t.Fatal("the same text must give the same under one key, and something else under another")
		}
		if got := v.Opener(context.Background(), site).Text(around + sealed + around); got != around+text+around {
			t.Fatalf("%q came back as %q", around+text+around, got)
		}
		if got := v.Opener(context.Background(), "south").Text(sealed); got != personal.Unreadable {
			t.Fatalf("at another site it reads %q", got)
		}
		if got := v.Opener(context.Background(), site).Text(strings.Replace(sealed, ":j1:", ":j2:", 1)); got != personal.Unreadable {
			t.Fatalf("under another key's name it reads %q", got)
		}
	})
}

// What this program gave once it must give for ever, or every car would be a new
// one; the value was computed apart, by HKDF-Expand and HMAC.
func TestPseudonymsFollowTheKey(t *testing.T) {
	store := &personal.Memory{}
	if err := store.Create(t.Context(), personal.Name{Site: site, ID: "cars"}, make([]byte, 32)); err != nil {
		t.Fatal(err)
	}
	key, other := made(t, vault(t, store), site, "cars"), made(t, vault(t, store), "south", "cars")
	const car, want = "YMR0RN16ZHA000042", "75da8ad0fa40f924fdb0582f46ecb2d3"
	if got := key.Pseudonym(car); got != want {
		t.Errorf("the pseudonym is %q, want %q", got, want)
	}
	if other.Pseudonym(car) == want || key.Pseudonym(car+"x") == want || key.Pseudonym("") != "" {
		t.Error("another key, another text and no text must give something else")
	}
}

// Every bit of what is sealed is guarded.
func TestChangedTextIsNotOpened(t *testing.T) {
	v := vault(t, &personal.Memory{})
	sealed := made(t, v, site, "j1").Seal("Marta Quell")
	const alphabet = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"
	start := strings.LastIndexByte(sealed, ':') + 1
	for i := start; i < len(sealed)-2; i++ { // the last character has spare bits
		for _, c := range alphabet[:8] {
			changed := sealed[:i] + string(c) + sealed[i+1:]
			if got := v.Opener(t.Context(), site).Text(changed); changed != sealed && got != personal.Unreadable {
				t.Fatalf("changed at %d it reads %q", i, got)
			}
		}
	}
}

// Braces and colons that people write are no sealed text.
func TestWhatOnlyLooksSealed(t *testing.T) {
	v := vault(t, &personal.Memory{})
	for _, text := range []string{"", "{sealed:", "{sealed:}", "{sealed:x}", "{sealed::x}", "a {sealed: b", "{sealed:{sealed:"} {
		o := v.Opener(t.Context(), site)
		if got := o.Text(text); got != text || o.Err() != nil {
			t.Errorf("%q reads %q (%v)", text, got, o.Err())
		}
	}
}

func TestMessagesAreCopied(t *testing.T) {
	v := vault(t, &personal.Memory{})
	key := made(t, v, site, "j1")
	plain := &jobv1.Job{
		Name: "jobs/1", Vehicle: &jobv1.Vehicle{Vin: "YMR0RN16ZHA004711", Plate: "RP-OR 16", Catalogue: "c"}, Customer: &jobv1.Customer{Name: "Marta Quell"},
		Complaint: "shakes", Authorisations: []*jobv1.Authorisation{{GivenBy: "Otto"}, {}}, Plan: &jobv1.Plan{Revision: 3},
	}
	before := proto.CloneOf(plain)
	sealed := personal.Seal(key, plain)
	kept := proto.CloneOf(sealed)
	if !proto.Equal(plain, before) {
		t.Errorf("sealing changed the message itself: %v", plain)
	}
	if sealed.GetPlan() != plain.GetPlan() || sealed.GetVehicle().GetCatalogue() != "c" {
		t.Error("what is not personal is not shared")
	}
	for _, text := range []string{
		sealed.GetVehicle().GetVin(), sealed.GetVehicle().GetPlate(), sealed.GetCustomer().GetName(), sealed.GetComplaint(),
		sealed.GetAuthorisations()[0].GetGivenBy(),
	} {
		if !personal.Sealed(text) {
			t.Errorf("%q is not sealed", text)
		}
	}
	opened := v.Reveal(t.Context(), site, sealed)
	if !proto.Equal(opened, before) || !proto.Equal(sealed, kept) {
		t.Errorf("opened it is %v, and the sealed one %v", opened, sealed)
	}
	if got := personal.IDs(sealed); len(got) != 1 || got[0] != "j1" {
		t.Errorf("it is sealed under %v", got)
	}
	if again := v.Reveal(t.Context(), site, plain); again != proto.Message(plain) {
		t.Error("a message without sealed text was copied")
	}
}

func TestErasedMissingAndAway(t *testing.T) {
	store := &failing{Store: &personal.Memory{}}
	v := vault(t, store)
	gone, lost, away := made(t, v, site, "j1").Seal("a"), made(t, vault(t, &personal.Memory{}), site, "j2").Seal("b"), made(t, v, site, "j3").Seal("c")
	if err := v.Destroy(t.Context(), site, "j1"); err != nil {
		t.Fatal(err)
	}
	o := v.Opener(t.Context(), site)
	if got := o.Text(gone); got != personal.Erased || o.Err() != nil {
		t.Errorf("what was erased reads %q (%v)", got, o.Err())
	}
	if got := o.Text(lost); got != personal.Unreadable || !errors.Is(o.Err(), personal.ErrNone) {
		t.Errorf("what lost its key reads %q (%v)", got, o.Err())
	}
	other := personal.NewVault(store, nil)
	defer other.Close()
	store.err = errors.New("no answer")
	o = other.Opener(t.Context(), site)
	if got := o.Text(away); got != personal.Away || !errors.Is(o.Err(), store.err) {
		t.Errorf("while the store is away it reads %q (%v)", got, o.Err())
	}
	if _, err := other.Given(t.Context(), site, []string{"j3"}); !errors.Is(err, store.err) {
		t.Errorf("keys are fetched beforehand with %v", err)
	}
}

type failing struct {
	personal.Store
	err error
}

func (f *failing) Get(ctx context.Context, n personal.Name) ([]byte, error) {
	if f.err != nil {
		return nil, f.err
	}
	return f.Store.Get(ctx, n)
}

// A key at hand in one process goes when another destroys it; and after a minute
// in any case, for one who was killed before he could tell.
func TestOtherProcessesForget(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		store := &personal.Memory{}
		here, there := personal.NewVault(store, nil), personal.NewVault(store, nil)
		defer here.Close()
		defer there.Close()
		sealed := made(t, here, site, "j1").Seal("a")
		second := made(t, here, site, "j2").Seal("b")
		synctest.Wait() // both watch
		read := func(v *personal.Vault, text string) string { return v.Opener(t.Context(), site).Text(text) }
		if read(there, sealed) != "a" || read(there, second) != "b" {
			t.Fatal("the other process cannot read")
		}
		if err := here.Destroy(t.Context(), site, "j1"); err != nil {
			t.Fatal(err)
		}
		synctest.Wait()
		if got := read(there, sealed); got != personal.Erased {
			t.Errorf("there it still reads %q", got)
		}
		if got := read(there, second); got != "b" { // at hand from now on
			t.Errorf("the second reads %q", got)
		}
		silently := &personal.Memory{} // as if its destroyer had told nobody
		if err := silently.Destroy(t.Context(), personal.Name{Site: site, ID: "j2"}); err != nil {
			t.Fatal(err)
		}
		store.Replace(silently)
		if got := read(there, second); got != "b" {
			t.Errorf("nobody told, and it reads %q", got)
		}
		<-time.After(time.Minute)
		synctest.Wait()
		if got := read(there, second); got != personal.Erased {
			t.Errorf("after a minute it reads %q", got)
		}
	})
}
