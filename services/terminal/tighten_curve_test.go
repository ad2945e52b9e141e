package terminal

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestCurveFromAFile(t *testing.T) {
	alone(t)
	dir := t.TempDir()
	var csv strings.Builder
	csv.WriteString("angle;torque\n")
	for i := range 1201 { // 1 N·m a degree from 30 degrees, yield at 90
		angle := float64(i) / 10
		torque := math.Max(0, math.Min(angle, 90)-30) + 0.1*math.Max(0, angle-90)
		fmt.Fprintf(&csv, "%s;%s\n", strings.Replace(fmt.Sprint(angle), ".", ",", 1), strings.Replace(fmt.Sprint(torque), ".", ",", 1))
	}
	file, picture := filepath.Join(dir, "head.csv"), filepath.Join(dir, "head.svg")
	if err := os.WriteFile(file, []byte(csv.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := execute(t, "", "tighten", "curve", file, "--svg", picture, "--clamp-length", "50", "--pitch", "1.5")
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"1201 samples", "snug at about 30 degrees", "yield from about 9", "it has left the elastic line by 24 degrees", "peak 63 N·m at 120 degrees"} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
	drawn, err := os.ReadFile(picture)
	if err != nil || !strings.Contains(string(drawn), "<svg") || !strings.Contains(string(drawn), "yield") {
		t.Errorf("the picture: %v", err)
	}
	if err := os.WriteFile(file, []byte("1,2\nx,3\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := execute(t, "", "tighten", "curve", file); err == nil || !strings.Contains(err.Error(), "sample 2: expected angle and torque") {
		t.Errorf("a line that is none: %v", err)
	}
	if _, err := execute(t, "", "tighten", "curve", file, "--job", "17"); err == nil || !strings.Contains(err.Error(), "joint") {
		t.Errorf("a job without a joint: %v", err)
	}
}
