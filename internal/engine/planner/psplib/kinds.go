package psplib

import (
	"io"
	"path/filepath"
	"slices"
	"strings"

	"ramprow/internal/engine/planner/rcpsp"
)

// Read reads an instance in the form that the file's name tells: .sm and .rcp are
// projects, all others job shops.
func Read(name string, r io.Reader) (rcpsp.Project, error) {
	switch kind(name) {
	case ".sm":
		return ReadSM(r)
	case ".rcp":
		return ReadRCP(r)
	default:
		return ReadJobShop(r)
	}
}

// Readable tells whether the file's name is that of an instance.
func Readable(name string) bool {
	return IsJobShop(name) || slices.Contains([]string{".sm", ".rcp"}, kind(name))
}

// IsJobShop tells whether the file's name is that of a job shop: .jsp, .jss, .txt
// or, as the collections have them, without an ending.
func IsJobShop(name string) bool {
	return slices.Contains([]string{".jsp", ".jss", ".txt", ""}, kind(name)) && !strings.HasPrefix(strings.ToUpper(filepath.Base(name)), "README")
}

func kind(name string) string { return strings.ToLower(filepath.Ext(name)) }
