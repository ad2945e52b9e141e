package terminal

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"
)

func stampNow(t *testing.T) *timestamppb.Timestamp {
	t.Helper()
	return timestamppb.New(now(t))
}

func write(t *testing.T, path, text string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

func parsed(t *testing.T, args ...string) *options {
	t.Helper()
	o := &options{}
	command := &cobra.Command{Use: "x"}
	o.bind(command)
	if err := command.ParseFlags(args); err != nil {
		t.Fatal(err)
	}
	return o
}

func TestWhoCalls(t *testing.T) {
	dir := t.TempDir()
	write(t, TokenFile(dir, "owner"), "owner-token\n")
	write(t, TokenFile(dir, "parts-clerk"), "clerk-token\n")
	tests := []struct {
		name, roleEnv, tokenEnv string
		args                    []string
		want                    string
	}{
		{"role", "", "", []string{"--as", "owner"}, "owner-token"},
		{"token", "", "", []string{"--token", "typed"}, "typed"},
		{"role before token", "", "", []string{"--as", "parts-clerk", "--token", "typed"}, "clerk-token"},
		{"typed before the environment", "owner", "env", []string{"--token", "typed"}, "typed"},
		{"role of the environment", "owner", "env", nil, "owner-token"},
		{"token of the environment", "", "env", nil, "env"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			alone(t)
			t.Setenv(RoleVariable, tt.roleEnv)
			t.Setenv(TokenVariable, tt.tokenEnv)
			got, err := parsed(t, append(tt.args, "--data", dir)...).callerToken()
			if err != nil || got != tt.want {
				t.Errorf("%q, %v; want %q", got, err, tt.want)
			}
		})
	}
}

func TestWhereTheServicesAre(t *testing.T) {
	alone(t)
	dir := t.TempDir()
	t.Setenv(DataVariable, dir)
	write(t, AddressFile(dir, RoleInventory), "127.0.0.1:9002\n")
	write(t, AddressFile(dir, RoleScheduling), "127.0.0.1:9003\n")
	write(t, AddressFile(dir, RoleAudit), "127.0.0.1:9004\n")
	t.Setenv(AddressVariable(RoleScheduling), "env:3")
	t.Setenv(AddressVariable(RoleAudit), "env:4")
	got := parsed(t, "--torque-audit-address", "flag:4").dial().Addresses
	want := map[string]string{RoleJob: "127.0.0.1:7101", RoleInventory: "127.0.0.1:9002", RoleScheduling: "env:3", RoleAudit: "flag:4"}
	for role, address := range want {
		if got[role] != address {
			t.Errorf("%s at %q, want %q", role, got[role], address)
		}
	}
}
