package inventory

import (
	"cmp"
	"strings"
)

// compareBins orders bins as one walks: numbers in a name count as numbers, so
// that A-2 comes before A-10. What has no bin comes last.
func compareBins(a, b string) int {
	if (a == "") != (b == "") {
		return cmp.Compare(len(b), len(a))
	}
	restA, restB := a, b
	for restA != "" && restB != "" {
		var partA, partB string
		partA, restA = leadingRun(restA)
		partB, restB = leadingRun(restB)
		if c := compareRuns(partA, partB); c != 0 {
			return c
		}
	}
	return cmp.Or(cmp.Compare(len(restA), len(restB)), strings.Compare(a, b))
}

// leadingRun cuts a name after its first run of digits, or of what is none.
func leadingRun(name string) (run, rest string) {
	for i := 1; i < len(name); i++ {
		if isDigit(name[i]) != isDigit(name[0]) {
			return name[:i], name[i:]
		}
	}
	return name, ""
}

func compareRuns(a, b string) int {
	if !isDigit(a[0]) || !isDigit(b[0]) {
		return strings.Compare(a, b)
	}
	// A number without its leading zeros is the larger, the longer it is.
	a, b = strings.TrimLeft(a, "0"), strings.TrimLeft(b, "0")
	return cmp.Or(cmp.Compare(len(a), len(b)), strings.Compare(a, b))
}

func isDigit(b byte) bool { return '0' <= b && b <= '9' }
