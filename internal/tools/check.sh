#!/usr/bin/env bash
# The project's checks, each by its name; without a name, all of them in order.
#
#   deploy/test                     all (what CI runs)
#   internal/tools/check.sh lint    one of: tools generate generated baseline lint test simulation demo
set -euo pipefail
cd "$(dirname "$0")/../.."
bin=$PWD/bin
export PATH=$bin:$PATH

say() { printf '\n== %s\n' "$*"; }

# tools builds what the checks need, from the versions in internal/tools/go.mod.
# The Go build cache makes it a matter of seconds after the first time.
tools() {
  say "tools"
  mkdir -p "$bin"
  (cd internal/tools && go build -o "$bin/" \
    github.com/bufbuild/buf/cmd/buf \
    google.golang.org/protobuf/cmd/protoc-gen-go \
    google.golang.org/grpc/cmd/protoc-gen-go-grpc \
    github.com/golangci/golangci-lint/v2/cmd/golangci-lint \
    github.com/nats-io/nats-server/v2)
  system redis-server redis-server
  system chromium chromium
}

# system installs a program from the system's packages, if it is not there.
system() {
  command -v "$1" >/dev/null && return
  say "$1 from the system's packages"
  if command -v apt-get >/dev/null && [ "$(id -u)" = 0 ]; then
    apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq "$2" >/dev/null
  else
    echo "$1 is missing; install it (on Debian: apt-get install $2) and run this again" >&2
    return 1
  fi
}

generate() { buf generate --template internal/tools/buf.gen.yaml; }

# baseline takes what the protos say now as published. Only additions may have
# been made since the last time: the check before it demands that.
baseline() {
  buf breaking --against internal/tools/baseline.binpb
  buf build --exclude-source-info -o internal/tools/baseline.binpb
}

# generated demands that the committed code is what the protos say.
generated() {
  say "protos: format, lint, breaking changes, generated code"
  buf format --diff --exit-code --path proto/ramprow
  buf lint
  # What was once published stays: baseline.binpb holds the protos of the last landing.
  buf breaking --against internal/tools/baseline.binpb
  local copy
  copy=$(mktemp -d)
  cp -r proto "$copy/"
  generate
  local changed=0
  diff -r "$copy/proto" proto >/dev/null || changed=1
  rm -rf "$copy"
  if [ "$changed" = 1 ]; then
    echo "the generated code was not current; it is now: commit it" >&2
    return 1
  fi
}

# lint vets too: govet is one of the linters.
lint() {
  say "modules, lint"
  go mod tidy -diff
  golangci-lint run ./...
}

# tests looks for data races in everything that has more than one goroutine. That
# begins with what takes longest and mostly waits, so that the others run beside
# it: three packages at a time keep two processors busy. The engines have one
# goroutine each, but for the planner; without the detector they are many times
# faster. All of it was vetted in lint.
tests() {
  local engines others
  engines=$(go list ./internal/engine/... | grep -v /planner)
  others=$(go list ./services/ramprow/e2e ./services/ramprow/faults ./services/ramprow ./... | grep -vxF "$engines")
  say "tests: the engines"
  go test -vet=off -shuffle=on $engines
  say "tests: everything else, with the race detector"
  RAMPROW_NATS_SERVER=$bin/nats-server go test -race -vet=off -shuffle=on -timeout 30m -p 3 $others
}

# simulation runs whole days of all services without the race detector, which the
# tests use on fewer of them.
simulation() {
  say "simulation: 2,000 days"
  go run ./services/ramprow simulate --seeds 2000
}

demo() {
  say "demo"
  go run ./services/ramprow demo
}

# all has each on a line of its own: in a list of && the shell would go on within
# one after a command of it has failed.
all() {
  tools
  generated
  lint
  tests
  simulation
  demo
}

if [ $# = 0 ]; then set -- all; fi
for name in "$@"; do
  case $name in
  all | tools | generate | generated | baseline | lint | simulation | demo) "$name" ;;
  test | tests) tests ;;
  *) echo "no check named $name" >&2 && exit 2 ;;
  esac
done
