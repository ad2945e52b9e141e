package job

import (
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/personal"
	"ramprow/internal/platform/sitelog"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// applyErasure takes what says who the customer is out of the job. What was
// issued stays as it was.
func (j *Job) applyErasure(m proto.Message) bool {
	e, ok := m.(*jobv1.PersonalDataErased)
	if !ok {
		return false
	}
	plain := j.plainWords()
	hide := func(text string) string {
		if text == "" {
			return ""
		}
		return personal.Erased
	}
	j.Erased = e
	j.Complaint = hide(j.Complaint)
	j.Vehicle, j.Customer, j.Billing = personal.Map(j.Vehicle, hide), personal.Map(j.Customer, hide), personal.Map(j.Billing, hide)
	if j.Vehicle.GetPseudonym() != "" {
		j.Vehicle = proto.CloneOf(j.Vehicle)
		j.Vehicle.Pseudonym = ""
	}
	for i, a := range j.Authorised {
		j.Authorised[i] = personal.Map(a, hide)
	}
	for i, entry := range j.History {
		j.History[i] = personal.Map(entry, func(text string) string { return plain.Replace(personal.Hide(text)) })
	}
	return true
}

// plainWords replaces what older programs wrote unsealed into sentences.
func (j *Job) plainWords() *strings.Replacer {
	words := []string{j.Customer.GetName(), j.Complaint}
	for _, a := range j.Authorised {
		words = append(words, a.GetGivenBy(), a.GetHow())
	}
	var pairs []string
	for _, w := range words {
		if w != "" && !personal.Sealed(w) {
			pairs = append(pairs, w, personal.Erased)
		}
	}
	return strings.NewReplacer(pairs...)
}

// erasable lists what keeps a job from being erased, with who can do something about it.
func (j *Job) erasable() []*jobv1.UnmetCondition {
	var unmet []*jobv1.UnmetCondition
	if !j.finished() {
		unmet = append(unmet, condition("JOB_OPEN", j.Name, dispatcher, "%s is %s; close its invoice or cancel it first", j.Name, stateWord(j.stage())))
	}
	for _, i := range j.Invoices {
		if open := j.openSum(i); open != 0 {
			unmet = append(unmet, condition("INVOICE_UNPAID", i.GetNumber(), dispatcher,
				"%s of invoice %s are still open; record the payment or credit the invoice first", amount(open, i.GetGross().GetCurrencyCode()), i.GetNumber()))
		}
	}
	if j.lookbackOpen() {
		unmet = append(unmet, j.unmetLookback()...)
	}
	return unmet
}

// erasePersonalData decides about one job. Once more brings nothing about, and gives the keys again.
func erasePersonalData(j *Job, reference string) ([]proto.Message, *jobv1.PersonalDataErased, error) {
	if j.Erased != nil {
		return nil, j.Erased, nil
	}
	if unmet := j.erasable(); len(unmet) > 0 {
		return nil, nil, notErasable(unmet)
	}
	e := &jobv1.PersonalDataErased{Job: j.Name, Reference: reference, Keys: personal.IDs(j.record())}
	if own := keyOfJob(j.Name); !slices.Contains(e.GetKeys(), own) {
		e.Keys = append(e.Keys, own) // what it sealed may have been replaced since
	}
	return []proto.Message{e}, e, nil
}

// orderErasure keeps which jobs are to be erased, before the first of them is.
func orderErasure(jobs []*Job, _ sitelog.Input, reference string) ([]proto.Message, []string, error) {
	var unmet []*jobv1.UnmetCondition
	names := make([]string, len(jobs))
	for n, j := range jobs {
		names[n] = j.Name
		unmet = append(unmet, j.erasable()...)
	}
	if len(unmet) > 0 {
		return nil, nil, notErasable(unmet)
	}
	return []proto.Message{&jobv1.ErasureOrdered{Jobs: names, Reference: reference}}, names, nil
}

func notErasable(unmet []*jobv1.UnmetCondition) error {
	f := fault.New(fault.Precondition, "NOT_ERASABLE", "nothing was erased: %s", unmet[0].GetDescription())
	for _, u := range unmet {
		f = f.WithUnmet(fault.Unmet{Type: u.GetType(), Subject: u.GetSubject(), Description: u.GetDescription()})
	}
	return f
}

// erasure says what an erasure takes from the job, and what it leaves and why.
func (j *Job) erasure() *jobv1.ErasureOfJob {
	e := &jobv1.ErasureOfJob{
		Job: j.Name, Plate: j.Vehicle.GetPlate(), State: j.stage(), OpenedAt: stamp(j.OpenedAt), Unmet: j.erasable(),
		Goes: []string{"name, contact and address of the customer", "plate and VIN of the car", "the customer's complaint"},
	}
	if len(j.Authorised) > 0 {
		e.Goes = append(e.Goes, "who authorised the work, and how")
	}
	if len(j.Billing.GetPayers()) > 0 {
		e.Goes = append(e.Goes, "the parties who were to be billed")
	}
	for _, i := range j.Invoices {
		e.Stays = append(e.Stays, "invoice "+i.GetNumber()+" as it was issued: the accounts must be kept")
	}
	for _, c := range j.CreditNotes {
		e.Stays = append(e.Stays, "credit note "+c.GetCreditNote().GetNumber()+" as it was issued: the accounts must be kept")
	}
	e.Stays = append(e.Stays, "what was found, done, measured and paid, without whose car it was; notes as the staff wrote them")
	if j.Vehicle.GetPseudonym() != "" {
		e.Stays = append(e.Stays, "how often the car's bolts were tightened, under a number that only the site's own secret makes of its VIN")
	}
	if !personal.Sealed(j.Customer.GetName()) {
		e.Stays = append(e.Stays, "the log's own entries of this job: it was opened before names were sealed, and a log is never changed")
	}
	return e
}
