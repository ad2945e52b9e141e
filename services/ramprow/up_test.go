package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"ramprow/internal/platform/identity"
	"ramprow/services/ramprow/stack"
	"ramprow/services/terminal"
)

func TestUpGoesOnWhereItStopped(t *testing.T) {
	quietEnvironment(t)
	dir := t.TempDir()
	h := open(t, dir)
	has(t, h.greeting, `The workshop "main" is open`, "torque-audit  127.0.0.1:", "export RAMPROW_DATA="+dir, "Metrics for Prometheus are at http://127.0.0.1:")
	for _, role := range identity.Roles() {
		info, err := os.Stat(terminal.TokenFile(dir, terminal.RoleWord(role)))
		if err != nil || info.Mode().Perm() != 0o600 {
			t.Errorf("the token of %s: %v, %v", role, info, err)
		}
		token, err := os.ReadFile(terminal.TokenFile(dir, terminal.RoleWord(role)))
		if err != nil || !strings.Contains(h.greeting, strings.TrimSpace(string(token))) {
			t.Errorf("the token of %s is not in the greeting (%v)", role, err)
		}
	}
	if _, _, err := program(t, "", "up", "--data", dir, "--free-ports"); err == nil || !strings.Contains(err.Error(), "is in use by process ") {
		t.Errorf("a second workshop on the folder: %v", err)
	}
	if _, _, err := program(t, "", "rebuild", "--data", dir); err == nil || !strings.Contains(err.Error(), "is in use by process ") {
		t.Errorf("a rebuild in a running folder: %v", err)
	}
	h.as("owner", "catalogue", "import", "testdata/small.yaml")
	h.awaitPart("SE-200") // inventory has heard of it
	h.close()

	_, notes, err := program(t, "", "rebuild", "--data", dir)
	if err != nil {
		t.Error(err)
	}
	has(t, notes, "job           0 rows written", "inventory     3 rows written", "scheduling    nothing has happened at main")

	h = open(t, dir)
	defer h.close()
	has(t, h.as("owner", "catalogue", "list"), "small-one        1  A small invented family")
}

// awaitPart asks until the part list has a part, which comes by event.
func (h *house) awaitPart(number string) {
	h.t.Helper()
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	deadline := time.After(20 * time.Second)
	for !strings.Contains(h.as("owner", "parts", "list"), number) {
		select {
		case <-tick.C:
		case <-deadline:
			h.t.Fatalf("%s never came to the part list", number)
		}
	}
}

func TestTokens(t *testing.T) {
	quietEnvironment(t)
	dir := t.TempDir()
	key, public := filepath.Join(dir, "key.pem"), filepath.Join(dir, "key.pub.pem")
	if _, _, err := program(t, "", "token", "--key", key, "--person", "ines", "--role", "owner"); err == nil {
		t.Error("a token was signed with a key that is not there")
	}
	if out, _, err := program(t, "", "token", "--key", key, "--public-key", public); err != nil || out != "" {
		t.Errorf("%q, %v", out, err)
	}
	out, _, err := program(t, "", "token", "--key", key, "--site", "north", "--person", "clara", "--role", "parts-clerk,technician", "--ttl", "1h")
	if err != nil {
		t.Fatal(err)
	}
	keys, err := identity.LoadPublicKeys(public)
	if err != nil {
		t.Fatal(err)
	}
	verifier, err := identity.NewVerifier(identity.VerifierConfig{Keys: keys})
	if err != nil {
		t.Fatal(err)
	}
	who, err := verifier.Verify(strings.TrimSpace(out))
	if err != nil || who.Site != "north" || who.Person != "clara" || !who.Has(identity.PartsClerk) || !who.Has(identity.Technician) || who.Has(identity.Dispatcher) {
		t.Errorf("%+v, %v", who, err)
	}
	for line, want := range map[string]string{
		"--person x --role owner":                         "[key data]",
		"--key K --person x":                              "--role is missing",
		"--key K --person x --role chef":                  "roles: ",
		"--key K --person x --role owner --ttl 9000h":     "--ttl 9000h0m0s is out of range",
		"--key K --person x --role owner --site North":    "site: ",
		"--key K --data D --person x --role owner":        "[data key]",
		"--key K --role owner":                            "[person public-key]",
		"--data " + dir + "/none --person x --role owner": "none/token-key.pem",
	} {
		_, _, err := program(t, "", append([]string{"token"}, strings.Fields(strings.ReplaceAll(line, "K", key))...)...)
		if err == nil || !strings.Contains(explain(err), want) {
			t.Errorf("%s: %v, want %q", line, err, want)
		}
	}
}

func TestServeAndRebuildSayWhatIsMissing(t *testing.T) {
	quietEnvironment(t)
	t.Setenv("RAMPROW_TOKEN_KEYS", "")
	_, _, err := program(t, "", "serve", "job", "--listen", "0.0.0.0:7101")
	if err == nil {
		t.Fatal("served without anything")
	}
	has(t, err.Error(), "--nats-url (NATS_URL) is missing", "--redis-url (REDIS_URL) is missing", "--tls-cert", "--token-keys")
	if _, _, err := program(t, "", "serve", "kitchen"); err == nil || !strings.Contains(err.Error(), `"kitchen"`) {
		t.Errorf("an unknown role: %v", err)
	}
	if _, _, err := program(t, "", "rebuild"); err == nil || !strings.Contains(err.Error(), "or give --data") {
		t.Errorf("rebuild without servers: %v", err)
	}
	t.Setenv("NATS_REPLICAS", "many")
	if _, _, err := program(t, "", "serve", "job"); err == nil || !strings.Contains(err.Error(), `NATS_REPLICAS="many"`) {
		t.Errorf("an unreadable variable: %v", err)
	}
	if _, _, err := program(t, "", "job", "list"); err == nil || !strings.Contains(err.Error(), "who are you?") {
		t.Errorf("a variable of serve must not disturb others: %v", err)
	}
}

func TestTheTerminalCallsWhereTheRolesListen(t *testing.T) {
	for _, role := range stack.Roles() {
		if got := terminal.DefaultAddress(role.Name); got != role.Address() {
			t.Errorf("%s: %s, but it listens at %s", role.Name, got, role.Address())
		}
	}
}

func TestEveryCommandHelpsWithAnExample(t *testing.T) {
	root := rootCommand()
	for _, command := range root.Commands() {
		if command.GroupID == "" || command.Short == "" || !strings.Contains(command.Example, command.CommandPath()) {
			t.Errorf("%s: group %q, short help %q, example %q", command.CommandPath(), command.GroupID, command.Short, command.Example)
		}
	}
}
