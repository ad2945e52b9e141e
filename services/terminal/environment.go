package terminal

import "strings"

// TokenVariable is the environment variable with the caller's token.
const TokenVariable = "RAMPROW_TOKEN"

// AddressVariable is the environment variable with a role's address, as in
// RAMPROW_TORQUE_AUDIT_ADDRESS.
func AddressVariable(role string) string {
	return "RAMPROW_" + strings.ToUpper(strings.ReplaceAll(role, "-", "_")) + "_ADDRESS"
}
