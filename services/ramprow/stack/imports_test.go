package stack_test

import (
	"bufio"
	"bytes"
	"os/exec"
	"strings"
	"testing"
)

// rule says what the packages below a path may not import, and the one exception.
type rule struct {
	below  string
	never  []string
	except []string
}

// The rules of the house (DEVELOPERS.md, 'Who may import whom'). The linter holds
// them file by file; this asks the build itself.
var rules = []rule{
	{below: "ramprow/internal/engine/", never: []string{"ramprow/internal/platform", "ramprow/internal/catalogue", "ramprow/proto", "ramprow/services", "google.golang.org/", "net", "os", "database"}},
	// Engines start no goroutine, so their tests look for no races (internal/tools/check.sh); the planner does, and its do.
	{below: "ramprow/internal/engine/", never: []string{"sync"}, except: []string{"ramprow/internal/engine/planner"}},
	{below: "ramprow/internal/platform/", never: []string{"ramprow/services", "ramprow/internal/engine", "ramprow/internal/catalogue"}},
	{below: "ramprow/services/job", never: []string{"ramprow/services"}},
	{below: "ramprow/services/inventory", never: []string{"ramprow/services"}},
	{below: "ramprow/services/scheduling", never: []string{"ramprow/services"}},
	{below: "ramprow/services/torque_audit", never: []string{"ramprow/services"}},
	{below: "ramprow/services/traces", never: []string{"ramprow/services"}},
	{below: "ramprow/services/terminal", never: []string{"ramprow/services"}},
	{below: "ramprow/", never: []string{"github.com/nats-io/nats.go"}, except: []string{"ramprow/internal/platform/sitelog/jetstream"}},
	{below: "ramprow/", never: []string{"github.com/nats-io/nats-server"}, except: []string{"ramprow/internal/platform/embedded"}},
	{below: "ramprow/", never: []string{"github.com/redis/go-redis"}, except: []string{"ramprow/internal/platform/readmodel"}},
	{below: "ramprow/", never: []string{"github.com/prometheus"}, except: []string{"ramprow/internal/platform/metrics"}},
	{below: "ramprow/internal/engine/", never: []string{"github.com/shopspring/decimal"}, except: []string{"ramprow/internal/engine/billing"}},
	{below: "ramprow/", never: []string{"github.com/alicebob/miniredis"}, except: []string{"ramprow/internal/platform/embedded"}},
}

func TestWhoMayImportWhom(t *testing.T) {
	out, err := exec.CommandContext(t.Context(), "go", "list", "-f", "{{.ImportPath}} {{join .Imports \" \"}}", "ramprow/...").Output()
	if err != nil {
		t.Fatal(err)
	}
	packages := 0
	for lines := bufio.NewScanner(bytes.NewReader(out)); lines.Scan(); {
		words := strings.Fields(lines.Text())
		packages++
		for _, r := range rules {
			if !strings.HasPrefix(words[0]+"/", r.below) && !strings.HasPrefix(words[0], r.below) || below(words[0], r.except) {
				continue
			}
			for _, imported := range words[1:] {
				if below(imported, r.never) && !below(imported, []string{words[0]}) && !own(words[0], imported) {
					t.Errorf("%s may not import %s", words[0], imported)
				}
			}
		}
	}
	if packages < 30 {
		t.Errorf("only %d packages were looked at", packages)
	}
}

// own lets a service import the packages below itself.
func own(path, imported string) bool {
	parts := strings.SplitN(strings.TrimPrefix(path, "ramprow/services/"), "/", 2)
	return strings.HasPrefix(path, "ramprow/services/") && below(imported, []string{"ramprow/services/" + parts[0]})
}

func below(path string, roots []string) bool {
	for _, root := range roots {
		if path == root || strings.HasPrefix(path, strings.TrimSuffix(root, "/")+"/") {
			return true
		}
	}
	return false
}
