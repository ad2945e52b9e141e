package config_test

import (
	"bytes"
	"errors"
	"flag"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"ramprow/internal/platform/config"
)

func env(values map[string]string) func(string) string {
	return func(name string) string { return values[name] }
}

// load does what a program does with its sections.
func load(args []string, getenv func(string) string, usage io.Writer, sections ...config.Section) error {
	flags := flag.NewFlagSet("job", flag.ContinueOnError)
	flags.SetOutput(usage)
	if err := config.Bind(flags, getenv, sections...); err != nil {
		return err
	}
	if err := flags.Parse(args); err != nil {
		return err
	}
	return config.Validate(sections...)
}

func TestAFlagWinsOverAVariableOverADefault(t *testing.T) {
	tests := []struct {
		name string
		args []string
		env  map[string]string
		want string
	}{
		{"default", nil, nil, "127.0.0.1:1"},
		{"variable", nil, map[string]string{"RAMPROW_LISTEN": "127.0.0.1:2"}, "127.0.0.1:2"},
		{"flag", []string{"--listen", "127.0.0.1:3"}, map[string]string{"RAMPROW_LISTEN": "127.0.0.1:2"}, "127.0.0.1:3"},
	}
	for _, tt := range tests {
		listen := config.Listen{Address: "127.0.0.1:1"}
		if err := load(tt.args, env(tt.env), io.Discard, &listen); err != nil {
			t.Errorf("%s: %v", tt.name, err)
		}
		if listen.Address != tt.want {
			t.Errorf("%s: %q, want %q", tt.name, listen.Address, tt.want)
		}
	}
}

func TestARoleReadsOnlyItsSections(t *testing.T) {
	var redis config.ReadModels
	asked := map[string]bool{}
	getenv := func(name string) string { asked[name] = true; return "" }
	if err := load([]string{"--redis-url", "redis://h:1"}, getenv, io.Discard, &redis); err != nil {
		t.Fatal(err)
	}
	if len(asked) != 1 || !asked["REDIS_URL"] {
		t.Errorf("read %v", asked)
	}
	if err := load([]string{"--nats-url", "nats://h:1"}, env(nil), io.Discard, &redis); err == nil {
		t.Error("a flag of another section must be refused")
	}
}

func TestAllMistakesAreToldAtOnce(t *testing.T) {
	var broker config.Broker
	var redis config.ReadModels
	var tokens config.Tokens
	err := load(nil, env(nil), io.Discard, &broker, &redis, &tokens)
	if err == nil {
		t.Fatal("nothing was missed")
	}
	for _, want := range []string{"NATS_URL", "REDIS_URL", "RAMPROW_TOKEN_KEYS"} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("%v does not name %s", err, want)
		}
	}
}

func TestHelpListsFlagsAndVariables(t *testing.T) {
	var out bytes.Buffer
	var listen config.Listen
	if err := load([]string{"--help"}, env(nil), &out, &listen); !errors.Is(err, flag.ErrHelp) {
		t.Errorf("got %v", err)
	}
	if text := out.String(); !strings.Contains(text, "-tls-client-ca") || !strings.Contains(text, "RAMPROW_TLS_CLIENT_CA") {
		t.Errorf("help is %s", text)
	}
}

func TestAVariableThatIsNoNumber(t *testing.T) {
	broker := config.Broker{URL: "nats://a:4222"}
	err := load(nil, env(map[string]string{"NATS_REPLICAS": "three"}), io.Discard, &broker)
	if err == nil || !strings.Contains(err.Error(), "NATS_REPLICAS") {
		t.Errorf("got %v", err)
	}
}

func TestALengthOfTime(t *testing.T) {
	better := config.Improvement{For: config.DefaultImprovement}
	if err := load(nil, env(map[string]string{"RAMPROW_IMPROVE": "500ms"}), io.Discard, &better); err != nil || better.For != 500*time.Millisecond {
		t.Errorf("%v, %v", better.For, err)
	}
	if err := load([]string{"--improve", "0s"}, env(nil), io.Discard, &better); err != nil || better.For != 0 {
		t.Errorf("%v, %v", better.For, err)
	}
	if err := load(nil, env(map[string]string{"RAMPROW_IMPROVE": "two"}), io.Discard, &better); err == nil || !strings.Contains(err.Error(), "as in 2s") {
		t.Errorf("got %v", err)
	}
}

func TestSections(t *testing.T) {
	folder := t.TempDir()
	file := filepath.Join(folder, "file.pem")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	missing := filepath.Join(folder, "none.pem")
	tests := []struct {
		name    string
		section config.Section
		mistake string // a word of the error; "" means valid
	}{
		{"loopback in plain text", &config.Listen{Address: "127.0.0.1:7101"}, ""},
		{"loopback of IPv6", &config.Listen{Address: "[::1]:7101"}, ""},
		{"everywhere in plain text", &config.Listen{Address: ":7101"}, "--tls-cert"},
		{"another machine in plain text", &config.Listen{Address: "10.0.0.1:7101"}, "--tls-cert"},
		{"everywhere with TLS", &config.Listen{Address: ":7101", Certificate: file, Key: file, ClientCA: file}, ""},
		{"certificate without key", &config.Listen{Address: ":7101", Certificate: file}, "belong together"},
		{"clients' authority without certificate", &config.Listen{Address: "127.0.0.1:1", ClientCA: file}, "--tls-client-ca needs"},
		{"missing file", &config.Listen{Address: ":7101", Certificate: missing, Key: file}, "cannot be read"},
		{"folder for a file", &config.Listen{Address: ":7101", Certificate: folder, Key: file}, "is a folder"},
		{"no port", &config.Listen{Address: "127.0.0.1"}, "is no address"},
		{"several brokers", &config.Broker{URL: "nats://a:4222, tls://b:4222"}, ""},
		{"broker with TLS", &config.Broker{URL: "tls://a:4222", Credentials: file, TLS: config.ClientTLS{CA: file, Certificate: file, Key: file}}, ""},
		{"broker by another protocol", &config.Broker{URL: "nats://a:4222,http://b"}, "unknown scheme"},
		{"broker's credentials are missing", &config.Broker{URL: "nats://a:4222", Credentials: missing}, "--nats-creds"},
		{"broker's key without certificate", &config.Broker{URL: "nats://a:4222", TLS: config.ClientTLS{Key: file}}, "--nats-cert"},
		{"more copies than servers can keep", &config.Broker{URL: "nats://a:4222", Replicas: 7}, "--nats-replicas"},
		{"redis", &config.ReadModels{URL: "redis://h:6379/0"}, ""},
		{"searches for better plans", &config.Improvement{For: 2 * time.Second}, ""},
		{"no searches for better plans", &config.Improvement{}, ""},
		{"a search before its beginning", &config.Improvement{For: -time.Second}, "--improve"},
		{"a search of an hour", &config.Improvement{For: time.Hour}, "--improve"},
		{"redis by socket", &config.ReadModels{URL: "unix:///run/redis.sock"}, ""},
		{"redis without protocol", &config.ReadModels{URL: "h:6379"}, "is no URL"},
		{"nobody counts", &config.Metrics{}, ""},
		{"metrics on a port", &config.Metrics{Address: "127.0.0.1:7111"}, ""},
		{"metrics without a port", &config.Metrics{Address: "127.0.0.1"}, "--metrics-listen"},
		{"peers in plain text", &config.Peers{}, ""},
		{"peers' authority is missing", &config.Peers{TLS: config.ClientTLS{CA: missing}}, "--peer-ca"},
		{"replicas that meet where they listen", &config.Replicas{}, ""},
		{"replicas that meet elsewhere", &config.Replicas{Advertise: "10.0.0.7:7101"}, ""},
		{"replicas that meet nowhere", &config.Replicas{Advertise: ":7101"}, "--advertise"},
		{"token keys", &config.Tokens{PublicKeys: file + " , " + file}, ""},
		{"no token keys", &config.Tokens{PublicKeys: " , "}, "is missing"},
		{"one token key is missing", &config.Tokens{PublicKeys: file + "," + missing}, "--token-keys"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			err := tt.section.Validate()
			if tt.mistake == "" && err != nil {
				t.Errorf("refused: %v", err)
			}
			if tt.mistake != "" && (err == nil || !strings.Contains(err.Error(), tt.mistake)) {
				t.Errorf("got %v, want %q in it", err, tt.mistake)
			}
		})
	}
}

func TestTokenFiles(t *testing.T) {
	tokens := config.Tokens{PublicKeys: "a.pem, b.pem,"}
	if files := tokens.Files(); len(files) != 2 || files[1] != "b.pem" {
		t.Errorf("files %q", files)
	}
}

func TestLoopback(t *testing.T) {
	for host, want := range map[string]bool{
		"localhost": true, "127.0.0.1": true, "127.1.2.3": true, "::1": true, "::ffff:127.0.0.1": true,
		"": false, "0.0.0.0": false, "::": false, "10.0.0.1": false, "localhost.example": false,
	} {
		if got := config.Loopback(host); got != want {
			t.Errorf("%q: %v", host, got)
		}
	}
}
