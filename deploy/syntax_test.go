package deploy_test

import (
	"bytes"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/nats-io/nats-server/v2/conf"
	"go.yaml.in/yaml/v3"
)

// Every script parses, every YAML file reads, every broker configuration is one.
func TestSyntax(t *testing.T) {
	t.Setenv("RAMPROW_NATS_DIR", t.TempDir())
	for _, role := range []string{"JOB", "INVENTORY", "SCHEDULING", "TORQUE_AUDIT", "READER"} {
		t.Setenv("RAMPROW_NKEY_"+role, "U")
	}
	read := map[string]int{}
	err := filepath.WalkDir(".", func(path string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		data, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		switch {
		case bytes.HasPrefix(data, []byte("#!/usr/bin/env bash")), filepath.Base(path) == "settings":
			read["script"]++
			if out, err := exec.CommandContext(t.Context(), "bash", "-n", path).CombinedOutput(); err != nil {
				t.Errorf("%s: %v\n%s", path, err, out)
			}
		case strings.HasSuffix(path, ".yaml"):
			read["yaml"]++
			var document any
			if err := yaml.Unmarshal(data, &document); err != nil || document == nil {
				t.Errorf("%s: %v", path, err)
			}
		case strings.HasSuffix(path, ".conf") && !strings.Contains(path, "redis"):
			read["nats"]++
			if _, err := conf.ParseFile(path); err != nil {
				t.Errorf("%s: %v", path, err)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for kind, least := range map[string]int{"script": 6, "yaml": 1, "nats": 3} {
		if read[kind] < least {
			t.Errorf("only %d files of kind %s were found, at least %d are there", read[kind], kind, least)
		}
	}
}

// composed is what the test looks at in the compose file.
type composed struct {
	Services map[string]struct {
		Command     []string          `yaml:"command"`
		Environment map[string]string `yaml:"environment"`
	} `yaml:"services"`
}

// Each role has a container that serves it over TLS, since it listens to others.
func TestComposeServesEveryRole(t *testing.T) {
	data, err := os.ReadFile("compose/compose.yaml")
	if err != nil {
		t.Fatal(err)
	}
	var file composed
	if err := yaml.Unmarshal(data, &file); err != nil {
		t.Fatal(err)
	}
	for _, role := range []string{"job", "inventory", "scheduling", "torque-audit", "desk", "traces"} {
		s, ok := file.Services[role]
		if !ok || len(s.Command) < 2 || s.Command[0] != "serve" || s.Command[1] != role {
			t.Errorf("%s is not served: %v", role, s.Command)
		}
		if text := strings.Join(s.Command, " "); !strings.Contains(text, "--tls-cert") || !strings.Contains(text, "--tls-key") {
			t.Errorf("%s listens to others without TLS", role)
		}
		if s.Environment["NATS_URL"] == "" || s.Environment["REDIS_URL"] == "" || s.Environment["RAMPROW_TOKEN_KEYS"] == "" {
			t.Errorf("%s lacks the address of its broker, its Redis or the token key", role)
		}
		if role != "desk" && file.Services["desk"].Environment["RAMPROW_"+strings.ToUpper(strings.ReplaceAll(role, "-", "_"))+"_ADDRESS"] == "" {
			t.Errorf("the desk does not know where %s is", role)
		}
	}
}
