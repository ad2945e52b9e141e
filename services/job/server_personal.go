package job

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/command"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/personal"
	"ramprow/internal/platform/readmodel"
	"ramprow/internal/platform/sitelog"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// personalServer answers PersonalDataService over the same writer and views.
type personalServer struct {
	jobv1.UnimplementedPersonalDataServiceServer
	*Server
}

// findPage is how many jobs are looked through at a time.
const findPage = 500

// find gives the jobs of a customer by name. Names are sealed, so there is no
// index of them: every job of the site is opened and compared.
func (s *personalServer) find(ctx context.Context, customer string, only []string) ([]*Job, error) {
	who, err := command.Caller(ctx)
	if err != nil {
		return nil, err
	}
	revision, err := s.runner.View(ctx, who.Site, func(*State) error { return nil })
	if err != nil {
		return nil, err
	}
	o := s.keys.Opener(ctx, who.Site)
	var found []*Job
	q := readmodel.ListQuery{Model: modelSummary, Index: indexAll, PageSize: findPage, MinRevision: revision}
	for {
		page, err := s.list(ctx, q, func() proto.Message { return &jobv1.JobSummary{} })
		if err != nil {
			return nil, err
		}
		for _, row := range page.Rows {
			sum := row.(*jobv1.JobSummary) //nolint:forcetypeassert // made above
			if len(only) > 0 && !slices.Contains(only, sum.GetName()) || !sameName(o.Text(sum.GetCustomer()), customer) {
				continue
			}
			j, _, err := s.look(ctx, sum.GetName())
			if err != nil {
				return nil, err
			}
			found = append(found, j)
		}
		if err := o.Err(); err != nil && !errors.Is(err, personal.ErrNone) {
			return nil, keyFault(err) // somebody may have been overlooked
		}
		if q.PageToken = page.NextToken; q.PageToken == "" {
			break
		}
	}
	if len(found) == 0 {
		return nil, fault.New(fault.NotFound, "CUSTOMER_NOT_FOUND",
			"no job is of a customer of exactly this name; 'ramprow job list --all' shows the names that there are").WithField("customer", "must be a whole name")
	}
	return found, nil
}

func sameName(a, b string) bool { return strings.EqualFold(strings.TrimSpace(a), strings.TrimSpace(b)) }

// PreviewErasure says what would go and what would stay.
func (s *personalServer) PreviewErasure(ctx context.Context, req *jobv1.PreviewErasureRequest) (*jobv1.PreviewErasureResponse, error) {
	jobs, err := s.find(ctx, req.GetCustomer(), req.GetJobs())
	if err != nil {
		return nil, err
	}
	response := &jobv1.PreviewErasureResponse{}
	for _, j := range jobs {
		response.Jobs = append(response.Jobs, j.erasure())
	}
	return response, nil
}

// ErasePersonalData orders the erasure, and then does it job by job. The order is
// remembered with the jobs' names, so the same request goes on after a crash when
// nobody could find them by the customer's name any more.
func (s *personalServer) ErasePersonalData(ctx context.Context, req *jobv1.ErasePersonalDataRequest) (*jobv1.ErasePersonalDataResponse, error) {
	jobs, missing := s.find(ctx, req.GetCustomer(), req.GetJobs())
	if missing != nil && fault.KindOf(missing) != fault.NotFound {
		return nil, missing
	}
	nameless := proto.CloneOf(req)
	nameless.Customer = "" // the log keeps a sum of the request, by which a name could be guessed
	ordered, receipt, err := command.Run(ctx, s.runner, nameless, func(_ *State, in sitelog.Input) ([]proto.Message, *jobv1.ErasePersonalDataResponse, error) {
		if missing != nil {
			return nil, nil, missing
		}
		events, names, err := orderErasure(jobs, in, req.GetReference())
		return events, &jobv1.ErasePersonalDataResponse{Jobs: names}, err
	})
	if err != nil {
		return nil, err
	}
	for _, name := range ordered.GetJobs() {
		if err := s.erase(ctx, req, name); err != nil {
			return nil, err
		}
	}
	ordered.Receipt = receipt
	return ordered, nil
}

// erase takes one job's data out of state and rows, and then destroys its keys.
// Whoever is killed between the two does the second with the next try.
func (s *personalServer) erase(ctx context.Context, req *jobv1.ErasePersonalDataRequest, name string) error {
	sum := sha256.Sum256([]byte(req.GetRequestId() + " " + name))
	one := &jobv1.ErasePersonalDataRequest{RequestId: hex.EncodeToString(sum[:16]), Jobs: []string{name}, Reference: req.GetReference()}
	erased, _, err := command.Run(ctx, s.runner, one, func(st *State, _ sitelog.Input) ([]proto.Message, *jobv1.PersonalDataErased, error) {
		j, err := st.job(name)
		if err != nil {
			return nil, nil, err
		}
		return erasePersonalData(j, req.GetReference())
	})
	if err != nil || s.keys == nil {
		return err
	}
	who, err := command.Caller(ctx)
	if err != nil {
		return err
	}
	for _, id := range erased.GetKeys() {
		if err := s.keys.Destroy(ctx, who.Site, id); err != nil {
			return fault.New(fault.Unavailable, "ERASURE_UNFINISHED",
				"%s: a key could not be destroyed; send the same request_id again until it is answered", name).Because(err)
		}
	}
	return nil
}

// ExportPersonalData gives all that is kept of a customer.
func (s *personalServer) ExportPersonalData(ctx context.Context, req *jobv1.ExportPersonalDataRequest) (*jobv1.ExportPersonalDataResponse, error) {
	who, err := command.Caller(ctx)
	if err != nil {
		return nil, err
	}
	jobs, err := s.find(ctx, req.GetCustomer(), req.GetJobs())
	if err != nil {
		return nil, err
	}
	response := &jobv1.ExportPersonalDataResponse{}
	file := exported{Workshop: who.Site, At: s.now().UTC(), Customer: strings.TrimSpace(req.GetCustomer())}
	o := s.keys.Opener(ctx, who.Site)
	for _, j := range jobs {
		part, err := j.exported(o)
		if err != nil {
			return nil, err
		}
		file.Jobs = append(file.Jobs, part)
		response.Jobs = append(response.Jobs, j.Name)
	}
	if err := o.Err(); err != nil {
		return nil, keyFault(err)
	}
	if response.Document, err = json.MarshalIndent(file, "", "  "); err != nil {
		return nil, fmt.Errorf("write the export: %w", err)
	}
	return response, nil
}

// exported is the file that a customer gets.
type exported struct {
	Workshop string        `json:"workshop"`
	At       time.Time     `json:"at"`
	Customer string        `json:"customer"`
	Jobs     []exportedJob `json:"jobs"`
}

type exportedJob struct {
	// Job is what was given and what was done, but for the plan, which is the workshop's.
	Job       json.RawMessage   `json:"job"`
	Billing   json.RawMessage   `json:"billing,omitempty"`
	Advances  []json.RawMessage `json:"advances,omitempty"`
	History   []json.RawMessage `json:"history"`
	Documents []json.RawMessage `json:"documents,omitempty"`
}

func (j *Job) exported(o *personal.Opener) (exportedJob, error) {
	shown := j.resource()
	shown.Plan = nil
	w := &exportWriter{}
	out := exportedJob{Job: w.message(personal.Open(o, shown))}
	if j.Billing != nil {
		out.Billing = w.message(personal.Open(o, j.Billing))
	}
	for _, a := range j.Advances {
		out.Advances = append(out.Advances, w.message(a))
	}
	for _, entry := range j.History {
		out.History = append(out.History, w.message(personal.Open(o, entry)))
	}
	for _, i := range j.Invoices {
		out.Documents = append(out.Documents, i.GetDocument())
	}
	for _, c := range j.CreditNotes {
		out.Documents = append(out.Documents, c.GetCreditNote().GetDocument())
	}
	return out, w.err
}

// exportWriter writes messages by the JSON mapping of Protocol Buffers, and keeps the first error.
type exportWriter struct{ err error }

func (w *exportWriter) message(m proto.Message) json.RawMessage {
	text, err := protojson.Marshal(m)
	var out bytes.Buffer
	if err == nil {
		err = json.Compact(&out, text) // protojson puts spaces in at will
	}
	if w.err == nil && err != nil {
		w.err = fmt.Errorf("write the export: %w", err)
	}
	return out.Bytes()
}
