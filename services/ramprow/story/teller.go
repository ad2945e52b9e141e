package story

import (
	"context"
	"fmt"
	"io"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/catalogue"
	"ramprow/internal/platform/identity"
	commonv1 "ramprow/proto/ramprow/common/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
	"ramprow/services/terminal"
)

// Config is what a story needs.
type Config struct {
	Clients *terminal.Clients
	// Token gives a person of the story's site a token.
	Token func(person string, role identity.Role) (string, error)
	// Out takes the story; io.Discard for a silent run.
	Out io.Writer
	Now func() time.Time
	// Halfway is called once in the middle of the work, as for killing a
	// service there. Nil: nothing happens.
	Halfway func(context.Context) error
	// Tightening is called before the first fastener is tightened. Nil: nothing happens.
	Tightening func(context.Context) error
}

// Ending is how the story ended.
type Ending struct {
	Job     string
	Invoice string
	// TraceID of the call that confirmed the diagnosis.
	TraceID string
}

// teller runs the story.
type teller struct {
	Config
	clients    *terminal.Clients
	tokens     map[string]string
	catalogues map[string]*catalogue.Catalogue
	job        *jobv1.Job
	// revision of the newest receipt of the job service, and of the audit's.
	revision      uint64
	auditRevision uint64
}

// Tell runs the whole story. An error is a defect: the story has no branch that may fail.
func Tell(ctx context.Context, c Config) (Ending, error) {
	t := &teller{Config: c, clients: c.Clients, tokens: map[string]string{}, catalogues: map[string]*catalogue.Catalogue{}}
	for _, p := range []person{owner, dispatcher, clerk, technician, second} {
		token, err := c.Token(p.name, p.role)
		if err != nil {
			return Ending{}, err
		}
		t.tokens[p.name] = token
	}
	chapters := []struct {
		title string
		tell  func(context.Context) error
	}{
		{"The workshop", t.furnish},
		{"A car that shakes", t.intake},
		{"What is broken", t.diagnose},
		{"A plan, parts, a bay", t.plan},
		{"The customer's word", t.authorise},
		{"Opening", t.work},
		{"The last gate", t.close},
	}
	for i, chapter := range chapters {
		t.heading("%d. %s", i+1, chapter.title)
		if err := chapter.tell(ctx); err != nil {
			return Ending{}, fmt.Errorf("%s: %w", chapter.title, err)
		}
	}
	t.heading("11. Another car, and a first diagnosis that was wrong")
	if err := t.wrong(ctx); err != nil {
		return Ending{}, fmt.Errorf("the wrong diagnosis: %w", err)
	}
	return Ending{Job: t.job.GetName(), Invoice: t.job.GetInvoice().GetNumber(), TraceID: t.job.GetTraceId()}, nil
}

func (t *teller) heading(format string, args ...any) {
	_, _ = fmt.Fprintf(t.Out, "\n"+format+"\n", args...) // a story that nobody hears is still run
}

func (t *teller) say(format string, args ...any) {
	_, _ = fmt.Fprintf(t.Out, "   "+format+"\n", args...)
}

func (t *teller) now() time.Time { return t.Now() }

func (t *teller) note(r *commonv1.Receipt) { t.revision = max(t.revision, r.GetRevision()) }

// keep takes the job as a command left it.
func (t *teller) keep(j *jobv1.Job, r *commonv1.Receipt) {
	t.job = j
	t.note(r)
}

// car is the catalogue that the story plays with.
func (t *teller) car() *catalogue.Catalogue { return t.catalogues[family] }

// awaitJob watches the job until it is as wanted: what other services decide
// arrives by event.
func (t *teller) awaitJob(ctx context.Context, what string, ready func(*jobv1.Job) bool) error {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	for {
		err := t.watchJob(ctx, ready)
		if err == nil {
			return nil
		}
		if ctx.Err() != nil {
			return fmt.Errorf("waited %s for %s, and the job is %s: %w", patience, what, t.job.GetState(), err)
		}
	}
}

// patience bounds every wait for another service, one that is restarted included.
const patience = 30 * time.Second

func (t *teller) watchJob(ctx context.Context, ready func(*jobv1.Job) bool) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	stream, err := t.clients.Job.WatchJob(t.as(ctx, owner), &jobv1.WatchJobRequest{Job: t.job.GetName()})
	if err != nil {
		return err
	}
	for {
		r, err := stream.Recv()
		if err != nil {
			return err
		}
		if t.job = r.GetJob(); r.GetRevision() >= t.revision && ready(t.job) {
			return nil
		}
	}
}

// await asks again until it is so; for what has no watch of its own.
func (t *teller) await(ctx context.Context, what string, ready func(context.Context) (bool, error)) error {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	for {
		ok, err := ready(ctx)
		if ok && err == nil {
			return nil
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf("waited %s for %s: %w", patience, what, ctx.Err())
		case <-tick.C:
		}
	}
}

// calibrated is a wrench that came back from the laboratory lately.
func calibrated(w *torqueauditv1.Wrench, now time.Time) *torqueauditv1.Wrench {
	w = proto.CloneOf(w)
	if w.GetKind() != torqueauditv1.WrenchKind_WRENCH_KIND_GUN {
		w.CalibratedAt = timestamppb.New(now.AddDate(0, -3, 0))
		w.CalibrationDue = timestamppb.New(now.AddDate(0, 9, 0))
		w.Certificate = "LAB-" + w.GetName()[len("wrenches/"):]
	}
	return w
}
