package main

import (
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
)

// jobSeen is what the tests read of a job's JSON.
type jobSeen struct {
	State    string
	Parts    struct{ State string }
	Booking  struct{ When struct{ Start string } }
	Audit    struct{ State string }
	Progress []struct{ Step, State string }
	Invoice  struct {
		Number string
		Gross  struct{ MinorUnits string }
		Paid   struct{ MinorUnits string }
	}
}

// TestAShortJobFromTheTerminal does a whole job by typed commands only.
func TestAShortJobFromTheTerminal(t *testing.T) {
	quietEnvironment(t)
	h := open(t, t.TempDir())
	defer h.close()
	furnish(h)
	has(t, h.as("dispatcher", "job", "open", "Ticks", "--vin", "YMR0RN16ZHA004711", "--plate", "RP-SM 1", "--catalogue", "small-one",
		"--feature", "body=hatch", "--built", "2021-03-12", "--km", "1000", "--customer", "Marta Quell"),
		"jobs/1: opened for Marta Quell\nNext: ramprow job codes 1 CODE… --moment intake\n")
	refusals(t, h)
	has(t, h.as("technician", "job", "codes", "1", "P0301:2F", "--moment", "intake"), "jobs/1: 1 code kept, read intake\nNext: ramprow job diagnose 1\n")
	has(t, h.as("technician", "job", "symptom", "1", "ticks"), "jobs/1: symptom: ticks\n")
	has(t, h.as("technician", "job", "diagnose", "1"), "worn-rocker  Rocker worn", "Next: ramprow job")
	has(t, h.as("dispatcher", "job", "plan", "jobs/1", "worn-rocker"), "open.cover-off", "Price   ", "EUR: labour ", "RK-100  1 pc  Rocker")
	has(t, h.as("technician", "job", "confirm", "1", "worn-rocker"), "jobs/1: confirmed. 11 steps; ", "Next: ramprow job authorise 1 AMOUNT")
	h.await("parts and a bay", func() bool {
		j := h.job()
		return j.Parts.State == "PARTS_STATE_HELD" && j.Booking.When.Start != ""
	})
	has(t, h.as("dispatcher", "bay", "booking", "1"), "bays/1", "people/tomas")
	h.moves(t)
	has(t, h.as("dispatcher", "job", "authorise", "1", "200", "--by", "Marta Quell", "--how", "telephone"), "Marta Quell authorises up to 200.00 EUR without tax")
	has(t, h.as("parts-clerk", "parts", "issue", "1"), "issued; jobs/1: parts settled\n")
	h.work()
	h.tighten(t)
	h.prove(t)
	h.pay(t)
	h.keeps(t)
	h.wrenchFails(t)
}

// keeps asks what is kept of the customer, and what would stay if he were forgotten.
func (h *house) keeps(t *testing.T) {
	t.Helper()
	has(t, h.as("owner", "customer", "export", "marta quell"), `"customer": "marta quell"`, `"name": "Marta Quell"`, `"plate": "RP-SM 1"`)
	has(t, h.as("owner", "customer", "erase", "Marta Quell", "--job", "1", "--reference", "letter 12/26", "--dry-run"),
		"Job    jobs/1  closed  RP-SM 1", "Goes   who authorised the work, and how", "Stays  invoice ", "Nothing was changed.")
	for role, args := range map[string][]string{
		"dispatcher": {"customer", "export", "Marta Quell"},
		"owner":      {"customer", "export", "Marta"},
	} {
		if out, _, err := h.try("", role, args...); err == nil {
			t.Errorf("%s gets %s", role, out)
		}
	}
}

// moves asks for a promise, moves the booking, and takes that back.
func (h *house) moves(t *testing.T) {
	t.Helper()
	has(t, h.as("dispatcher", "bay", "promise", "--likely", "2h", "--skill", "petrol"), "four times of five", "bays/1", "Nothing is booked.")
	start := h.job().Booking.When.Start
	later := time.Now().AddDate(0, 0, 2).Format("2006-01-02") + " 10:00"
	has(t, h.as("dispatcher", "bay", "move", "1", "--start", later, "--preview"), "jobs/1: bays/1", previewed)
	_, _, err := h.try("", "dispatcher", "bay", "undo")
	if err == nil || !strings.Contains(explain(err), "nothing to take back") {
		t.Errorf("undoing before any move: %v", err)
	}
	h.as("dispatcher", "bay", "move", "1", "--start", later, "--pin")
	h.await("the move", func() bool { return h.job().Booking.When.Start != start })
	has(t, h.as("dispatcher", "bay", "undo", "--preview"), "Taken back: the move of jobs/1", previewed)
	has(t, h.as("dispatcher", "bay", "undo", "--move", "move-1"), "Taken back: the move of jobs/1")
	for _, line := range []string{"bay swap 1 1", "bay swap 1 99", "bay swap 1 x", "bay promise --likely soon", "bay promise --likely 1h --skill none-has-it"} {
		if _, _, err := h.try("", "dispatcher", strings.Fields(line)...); err == nil {
			t.Errorf("%s was done", line)
		}
	}
}

// previewed is what every preview ends with.
const previewed = "Nothing is changed yet: the same without --preview does it."

// wrenchFails finds a wrench out after the car is gone: the closed job is listed
// with its customer, and the owner says that it is known.
func (h *house) wrenchFails(t *testing.T) {
	t.Helper()
	has(t, h.as("technician", "tighten", "wrench", "check", "w1", "--target", "10", "--measured", "9"), "check failed", "must be checked again. See: ramprow tighten lookbacks")
	h.await("the list", func() bool { return strings.Contains(h.as("owner", "tighten", "lookbacks"), "Marta Quell") })
	has(t, h.as("owner", "tighten", "lookbacks"), "1: w1 (w1) failed its check", "RP-SM 1", "yes", "Not seen by the owner yet. Next: ramprow tighten seen 1")
	has(t, h.as("owner", "tighten", "seen", "1"), "lookbacks/1: seen by owner")
	has(t, h.as("technician", "tighten", "sheet", "1"), "tightening reopened")
	has(t, h.as("owner", "tighten", "stats", "joint", "cover"), "cover: ", "did not count", "Cpk ")
	has(t, h.as("technician", "tighten", "wrench", "due"), "w1", "now", "it failed its last check")
	has(t, h.as("technician", "tighten", "residual", "1", "cover", "1", "--method", "on", "--wrench", "a1", "--torque", "11"), "cover 1: recorded, not judged: no limit is given")
	has(t, h.as("technician", "tighten", "next", "1", "cover", "--adapter", "450,50,0"), "with the adapter set the wrench to ")
}

// furnish registers what the short job needs.
func furnish(h *house) {
	has(h.t, h.as("owner", "catalogue", "import", "testdata/small.yaml"), "small-one@1", ": imported\n")
	h.as("dispatcher", "bay", "set", "bays/1", "--title", "Bay 1", "--type", "lift")
	h.as("dispatcher", "bay", "set", "people/tomas", "--skill", "petrol")
	h.as("dispatcher", "bay", "set", "tools/pin", "--type", "pin")
	h.as("technician", "tighten", "wrench", "set", "w1", "--kind", "setting", "--range", "2-25", "--deviation", "2",
		"--tool", "wrench", "--calibrated", "2026-01-02", "--due", "2099-01-01", "--certificate", "L-1")
	h.as("technician", "tighten", "wrench", "set", "a1", "--kind", "torque-angle", "--range", "5-50", "--deviation", "2",
		"--tool", "dial", "--calibrated", "2026-01-02", "--due", "2099-01-01", "--certificate", "L-2")
	h.await("the part list", func() bool {
		return strings.Contains(h.as("parts-clerk", "parts", "list"), "RK-100")
	})
	has(h.t, h.as("parts-clerk", "parts", "receive", "SE-200:5", "RK-100:2"), "2 lines taken in; no job waited for all of it\n")
}

// refusals are what goes wrong at a terminal on an ordinary day.
func refusals(t *testing.T, h *house) {
	t.Helper()
	tests := []struct {
		role, line, want string
	}{
		{"technician", "job cancel 1 --reason r", "may"},
		{"owner", "job show 99", "jobs/99"},
		{"dispatcher", "job authorise 1 1,50 --by M --how t", "has no plan yet"},
		{"dispatcher", "job pay 1 10 --how cash", "jobs/1 has no invoice yet"},
		{"dispatcher", "job close 1", "DIAGNOSIS_MISSING"},
		{"technician", "job symptom 1 purrs", "purrs"},
		{"technician", "job explain 1 NOT-A-PIECE 1 x", "piece: "},
		{"technician", "tighten run 1 --wrench w9", "w9"},
	}
	for _, tt := range tests {
		_, _, err := h.try("", tt.role, strings.Fields(tt.line)...)
		if err == nil || !strings.Contains(explain(err), tt.want) {
			t.Errorf("%s as %s: %v, want %q", tt.line, tt.role, err, tt.want)
		}
	}
	_, _, err := program(t, "", "job", "list", "--data", h.dir, "--token", "not.a.token")
	if err == nil || !strings.Contains(err.Error(), "the token proves nothing here; sign in again") {
		t.Errorf("a wrong token: %v", err)
	}
}

func (h *house) job(flags ...string) jobSeen {
	h.t.Helper()
	var j jobSeen
	h.told("owner", &j, append([]string{"job", "show", "1"}, flags...)...)
	return j
}

// ready is the first step that the table calls ready.
var ready = regexp.MustCompile(`(?m)^(\S+) +ready `)

// work does the steps as the table offers them.
func (h *house) work() {
	h.t.Helper()
	revision := "0"
	for range 50 {
		step := ready.FindStringSubmatch(h.as("technician", "job", "steps", "1", "--open", "--at-least", revision))
		if step == nil {
			return
		}
		h.as("technician", "job", "start", "1", step[1])
		revision = h.receipt("technician", "job", "done", "1", step[1], "--worked", "5m")
	}
	h.t.Fatal("the steps do not end")
}

// tighten types a reading for every fastener that the sheet asks for.
func (h *house) tighten(t *testing.T) {
	t.Helper()
	h.await("joints that can be tightened", func() bool {
		out := h.as("technician", "tighten", "sheet", "1")
		return !strings.Contains(out, "waiting")
	})
	if out, _, err := h.try("", "technician", "tighten", "post", "1", "cover", "1", "--wrench", "w1", "--torque", "3"); err == nil {
		has(t, out, "does not count")
	} else {
		t.Errorf("a reading far below is kept: %v", err)
	}
	// Two bolts to 10 N·m and 40 degrees, four bolts to 10 N·m; one line is a slip.
	out := h.typing("=\n=\nforty\n40\n=\n=\n10.2\n9,9\n=\n=\n=\n", "technician", "tighten", "run", "1", "--wrench", "w1,a1")
	has(t, out, "[w1]", "[a1]", `"forty" is no reading`, "the joint is proved", "Next: ramprow tighten sign 1")
	has(t, h.as("technician", "tighten", "sign", "1"), "2 of 2 joints proved, signed by technician\n")
	h.await("the signature on the record", func() bool {
		return strings.Contains(h.as("dispatcher", "tighten", "record", "1"), `"signed_by": "technician"`)
	})
	name := filepath.Join(t.TempDir(), "record.json")
	has(t, h.as("dispatcher", "tighten", "record", "1", "--json", name, "--html", name+".html"), "jobs/1: record written, sum ")
	has(t, h.as("dispatcher", "tighten", "verify", name, "--with-log"), ": unchanged\n", "It is what the log says.")
	h.await("the audit", func() bool { return h.job().Audit.State == "AUDIT_STATE_COMPLETE" })
}

func (h *house) prove(t *testing.T) {
	t.Helper()
	has(t, h.as("dispatcher", "job", "bill", "1"), "CODES_NOT_CLEARED  technician", "ramprow job clear-codes 1")
	h.as("technician", "job", "clear-codes", "1")
	has(t, h.as("technician", "job", "codes", "1", "--moment", "after-clearing"), "0 codes kept")
	h.as("technician", "job", "road-test", "1", "passed", "--km", "14.5")
	has(t, h.as("technician", "job", "codes", "1", "--moment", "after-road-test"), "Next: ramprow job close 1\n")
	has(t, h.as("dispatcher", "job", "bill", "1"), "Everything is met. Next: ramprow job close 1\n")
}

// pay closes, sends the same again, and pays.
func (h *house) pay(t *testing.T) {
	t.Helper()
	closing := []string{"job", "close", "1", "--request-id", "closing-0001"}
	first := h.as("dispatcher", closing...)
	has(t, first, "jobs/1: invoice ", " over ", "EUR\nNext: ramprow job pay 1 ")
	has(t, h.as("dispatcher", closing...), "(done before; this is the first answer)")
	amount := strings.Fields(first[strings.Index(first, "job pay 1 "):])[3]
	h.await("the invoice", func() bool { return h.job().Invoice.Number != "" })
	_, _, err := h.try("", "dispatcher", "job", "pay", "1", "12.345", "--how", "card")
	if err == nil || !strings.Contains(err.Error(), `"12.345" is no amount in EUR`) {
		t.Errorf("a bad amount: %v", err)
	}
	revision := h.receipt("dispatcher", "job", "pay", "1", amount, "--how", "card")
	j := h.job("--at-least", revision)
	if j.State != "JOB_STATE_CLOSED" || j.Invoice.Number == "" || j.Invoice.Gross != j.Invoice.Paid {
		t.Errorf("the job ended as %+v", j)
	}
	has(t, h.as("owner", "job", "story", "1"), "opened for Marta Quell: Ticks", "paid ")
	has(t, h.as("owner", "job", "list"), "No job here.")
	has(t, h.as("owner", "job", "list", "--with-finished"), "closed", "RP-SM 1")
	has(t, h.as("owner", "log", "parked", "--service", "inventory"), "Nothing is parked")
}

func has(t *testing.T, out string, wanted ...string) {
	t.Helper()
	for _, want := range wanted {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
}
