package personal_test

import (
	"testing"

	"ramprow/internal/platform/personal"
	"ramprow/internal/platform/personal/personaltest"
)

func TestMemory(t *testing.T) {
	personaltest.Run(t, func(*testing.T) personal.Store { return &personal.Memory{} })
}
