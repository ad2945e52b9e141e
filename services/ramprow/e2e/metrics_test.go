package e2e_test

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/emptypb"

	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/metrics"
	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/telemetry"
	jobv1 "ramprow/proto/ramprow/job/v1"
	"ramprow/services/ramprow/stack"
	"ramprow/services/terminal"
	"ramprow/services/traces"
)

// sample is one line of the text format that Prometheus reads.
type sample struct {
	name   string
	labels map[string]string
	value  float64
}

var (
	sampleLine = regexp.MustCompile(`^([a-zA-Z_:][a-zA-Z0-9_:]*)(?:\{(.*)\})? (\S+)$`)
	labelPair  = regexp.MustCompile(`([a-zA-Z_][a-zA-Z0-9_]*)="((?:[^"\\]|\\.)*)"`)
)

// fetchMetrics asks as Prometheus does.
func fetchMetrics(ctx context.Context, address string) ([]sample, error) {
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://"+address+"/metrics", nil)
	if err != nil {
		return nil, err
	}
	response, err := http.DefaultClient.Do(request)
	if err != nil {
		return nil, err
	}
	text, err := io.ReadAll(response.Body)
	if err := response.Body.Close(); err != nil {
		return nil, err
	}
	var samples []sample
	for line := range strings.Lines(string(text)) {
		found := sampleLine.FindStringSubmatch(strings.TrimSpace(line))
		if found == nil {
			continue // a comment
		}
		s := sample{name: found[1], labels: map[string]string{}}
		for _, pair := range labelPair.FindAllStringSubmatch(found[2], -1) {
			s.labels[pair[1]] = pair[2]
		}
		if s.value, err = strconv.ParseFloat(found[3], 64); err != nil {
			return nil, err
		}
		samples = append(samples, s)
	}
	return samples, err
}

// sum adds what has all the labels, and says how many samples that were.
func sum(samples []sample, name string, labels map[string]string) (total float64, count int) {
next:
	for _, s := range samples {
		if s.name != name {
			continue
		}
		for label, value := range labels {
			if s.labels[label] != value {
				continue next
			}
		}
		total, count = total+s.value, count+1
	}
	return total, count
}

// named gives the metrics in the queries of the dashboard and the warnings.
func named(t *testing.T) map[string]string {
	t.Helper()
	queries := map[string]string{}
	for _, path := range []string{"../../../deploy/metrics/dashboard.json", "../../../deploy/metrics/alerts.yaml"} {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range regexp.MustCompile(`\b(ramprow|go|process)_[a-z_]+`).FindAllString(string(data), -1) {
			queries[name] = path
		}
	}
	return queries
}

// A running workshop tells each metric that the dashboard and the warnings name, with labels
// from sets that do not grow; all is caught up with in the end.
func TestMetricsOfTheDashboard(t *testing.T) {
	kept := traces.NewStore(traces.Limits{}, time.Now)
	w := openWorkshopWith(t, telemetry.Config{Sink: kept, Metrics: metrics.New()},
		stack.WorkshopConfig{Dir: t.TempDir(), Traces: kept, Metrics: "127.0.0.1:0"})
	ending := w.tell(t)
	owner := w.as(t, site, "ines", identity.Owner)
	clients := w.clients(t)
	if _, err := clients.Job.GetJob(owner, &jobv1.GetJobRequest{Job: "jobs/999999"}); err == nil {
		t.Fatal("a job that is not there was found")
	}
	if err := w.conn(t, "job").Invoke(owner, "/ramprow.job.v1.JobService/Invented", &emptypb.Empty{}, &emptypb.Empty{}); status.Code(err) != codes.Unimplemented {
		t.Fatal(err)
	}
	samples := caughtUp(t, w)
	names := map[string]bool{}
	for _, s := range samples {
		names[s.name] = true
	}
	queries := named(t)
	for name, path := range queries {
		if !names[name] {
			t.Errorf("%s names %s, which is not told", path, name)
		}
	}
	for name := range names {
		// A histogram's sum comes with its count, whether or not somebody wants a mean.
		if strings.HasPrefix(name, "ramprow_") && !strings.HasSuffix(name, "_sum") && queries[name] == "" {
			t.Errorf("%s is told and on no dashboard", name)
		}
	}
	boundedLabels(t, samples, ending.Job)
	for _, role := range terminal.RoleNames() {
		of := map[string]string{"service": role}
		if calls, _ := sum(samples, "ramprow_call_seconds_count", of); calls < 1 {
			t.Errorf("%s tells of %g calls", role, calls)
		}
		commits, _ := sum(samples, "ramprow_commit_seconds_count", of)
		decisions, _ := sum(samples, "ramprow_decisions_total", of)
		if commits < 1 || decisions < commits {
			t.Errorf("%s tells of %g commits with %g decisions", role, commits, decisions)
		}
		if held, _ := sum(samples, "ramprow_leases_held", of); int(held) != len(sitelog.PartitionNames(0)) {
			t.Errorf("%s holds %g of %d partitions", role, held, len(sitelog.PartitionNames(0)))
		}
		if sites, _ := sum(samples, "ramprow_sites", of); sites != 1 {
			t.Errorf("%s has %g sites", role, sites)
		}
	}
	if refused, _ := sum(samples, "ramprow_call_seconds_count", map[string]string{"method": "ramprow.job.v1.JobService/GetJob", "code": "NotFound"}); refused != 1 {
		t.Errorf("%g calls for the job that is not there", refused)
	}
}

// caughtUp fetches until nobody is behind.
func caughtUp(t *testing.T, w *workshop) []sample {
	t.Helper()
	deadline := time.NewTimer(30 * time.Second)
	defer deadline.Stop()
	tick := time.NewTicker(50 * time.Millisecond)
	defer tick.Stop()
	for {
		samples, err := fetchMetrics(t.Context(), w.Metrics.Address)
		if err != nil {
			t.Fatal(err)
		}
		behind, followers := sum(samples, "ramprow_follower_behind", nil)
		unshown, models := sum(samples, "ramprow_read_model_behind", nil)
		spans, _ := sum(samples, "ramprow_traces_received_spans_total", nil)
		if followers > 0 && models == len(terminal.RoleNames()) && behind+unshown == 0 && spans > 0 {
			return samples
		}
		select {
		case <-tick.C:
		case <-deadline.C:
			t.Fatalf("%g behind of %d followers, %g of %d read models, %g spans", behind, followers, unshown, models, spans)
		}
	}
}

// boundedLabels finds labels whose values are not known beforehand.
func boundedLabels(t *testing.T, samples []sample, job string) {
	t.Helper()
	roles := append(terminal.RoleNames(), stack.RoleTraces)
	for _, s := range samples {
		if !strings.HasPrefix(s.name, "ramprow_") {
			continue
		}
		if service := s.labels["service"]; !slices.Contains(roles, service) {
			t.Errorf("%s of service %q", s.name, service)
		}
		if follows := s.labels["follows"]; follows != "" && !slices.Contains(roles, follows) {
			t.Errorf("%s follows %q", s.name, follows)
		}
		for label, value := range s.labels {
			if !slices.Contains([]string{"service", "follows", "method", "code", "le"}, label) {
				t.Errorf("%s has a label %s", s.name, label)
			}
			if strings.Contains(value, job) || strings.Contains(value, "Invented") || strings.Contains(value, site) {
				t.Errorf("%s has %s=%q", s.name, label, value)
			}
		}
		if text := s.labels["code"]; text != "" && !slices.ContainsFunc(allCodes(), func(c codes.Code) bool { return c.String() == text }) {
			t.Errorf("%s has code %q", s.name, text)
		}
	}
}

func allCodes() (all []codes.Code) {
	for c := codes.OK; c <= codes.Unauthenticated; c++ {
		all = append(all, c)
	}
	return all
}

// The dashboard is one: each panel has a query, a place of its own and a text that says what it means.
func TestDashboardFile(t *testing.T) {
	data, err := os.ReadFile("../../../deploy/metrics/dashboard.json")
	if err != nil {
		t.Fatal(err)
	}
	var board struct {
		Panels []struct {
			ID                 int
			Title, Description string
			GridPos            struct{ X, Y, W, H int }
			Targets            []struct{ Expr string }
		}
	}
	if err := json.Unmarshal(data, &board); err != nil {
		t.Fatal(err)
	}
	taken, ids := map[[2]int]string{}, map[int]bool{}
	for _, p := range board.Panels {
		if p.Title == "" || p.Description == "" || len(p.Targets) == 0 || ids[p.ID] {
			t.Errorf("panel %d %q lacks a text, a query or an id of its own", p.ID, p.Title)
		}
		ids[p.ID] = true
		for _, target := range p.Targets {
			if strings.Count(target.Expr, "(") != strings.Count(target.Expr, ")") || target.Expr == "" {
				t.Errorf("%s: %s", p.Title, target.Expr)
			}
		}
		for x := p.GridPos.X; x < p.GridPos.X+p.GridPos.W; x++ {
			for y := p.GridPos.Y; y < p.GridPos.Y+p.GridPos.H; y++ {
				if other := taken[[2]int{x, y}]; other != "" || x >= 24 {
					t.Fatalf("%s lies on %q or outside", p.Title, other)
				}
				taken[[2]int{x, y}] = p.Title
			}
		}
	}
	if len(board.Panels) < 10 {
		t.Errorf("%d panels", len(board.Panels))
	}
}

// tellsMetrics demands that each role of a town, as a process of its own, holds all partitions
// and catches up. Its commits are its own process's, and it may have been started after the last.
func (w *town) tellsMetrics() {
	w.t.Helper()
	for role, address := range w.metrics {
		w.eventually("metrics of "+role, func() error {
			samples, err := fetchMetrics(w.t.Context(), address)
			if err != nil {
				return err
			}
			held, _ := sum(samples, "ramprow_leases_held", map[string]string{"service": role})
			behind, followers := sum(samples, "ramprow_follower_behind", map[string]string{"service": role})
			if int(held) != len(sitelog.PartitionNames(0)) || followers < 1 || behind > 0 {
				return fmt.Errorf("it holds %g partitions, and is %g behind %d others", held, behind, followers)
			}
			return nil
		})
	}
}
