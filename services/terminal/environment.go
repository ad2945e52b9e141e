package terminal

import (
	"path/filepath"
	"strings"
)

// The environment variables that stand in for the shared flags.
const (
	// TokenVariable holds the caller's token.
	TokenVariable = "RAMPROW_TOKEN" //nolint:gosec // the variable's name, not a token
	// RoleVariable names the role whose token in the data folder is taken.
	RoleVariable = "RAMPROW_AS"
	// DataVariable names the data folder of a workshop on this machine.
	DataVariable = "RAMPROW_DATA"
	// CAVariable, CertVariable and KeyVariable name PEM files for TLS.
	CAVariable   = "RAMPROW_CA"
	CertVariable = "RAMPROW_CERT"
	KeyVariable  = "RAMPROW_KEY"
)

// DefaultDir is the data folder when none is named.
const DefaultDir = ".ramprow"

// AddressVariable is the environment variable with a role's address, as in
// RAMPROW_TORQUE_AUDIT_ADDRESS.
func AddressVariable(role string) string {
	return "RAMPROW_" + strings.ToUpper(strings.ReplaceAll(role, "-", "_")) + "_ADDRESS"
}

// DefaultAddress is where a role listens when nobody says otherwise.
func DefaultAddress(role string) string {
	return map[string]string{
		RoleJob:        "127.0.0.1:7101",
		RoleInventory:  "127.0.0.1:7102",
		RoleScheduling: "127.0.0.1:7103",
		RoleAudit:      "127.0.0.1:7104",
		RoleTraces:     "127.0.0.1:7105",
	}[role]
}

// TokenFile is where a running workshop leaves the token of a person's role.
func TokenFile(dir, role string) string { return filepath.Join(dir, "tokens", role+".token") }

// AddressFile is where a running workshop leaves a role's address.
func AddressFile(dir, role string) string { return filepath.Join(dir, "addresses", role) }

// KeyFile is where a data folder keeps the key that signs its tokens; whoever can read it can be anybody.
func KeyFile(dir string) string { return filepath.Join(dir, "token-key.pem") }
