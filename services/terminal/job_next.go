package terminal

import (
	"fmt"

	commonv1 "ramprow/proto/ramprow/common/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// nextFor is what a person can type next for a job.
func nextFor(j *jobv1.Job) string {
	n := number(j.GetName())
	switch j.GetState() {
	case jobv1.JobState_JOB_STATE_OPENED:
		return nextOpened(j, n)
	case jobv1.JobState_JOB_STATE_AWAITING_AUTHORITY:
		return fmt.Sprintf("ramprow job authorise %s AMOUNT --by NAME --how telephone    # estimate %s without tax", n, money(estimate(j.GetPlan())))
	case jobv1.JobState_JOB_STATE_READY, jobv1.JobState_JOB_STATE_IN_WORK:
		return nextStep(j, n)
	case jobv1.JobState_JOB_STATE_PROVING:
		if len(j.GetUnmet()) > 0 {
			return remedy(j.GetUnmet()[0].GetType(), n)
		}
		return "ramprow job close " + n
	case jobv1.JobState_JOB_STATE_CLOSED:
		return nextPayment(j, n)
	case jobv1.JobState_JOB_STATE_CANCELLED, jobv1.JobState_JOB_STATE_UNSPECIFIED:
	}
	return ""
}

func nextOpened(j *jobv1.Job, n string) string {
	switch {
	case !j.GetReceived():
		return "ramprow job receive " + n + " --km ODOMETER    # when the car comes"
	case len(j.GetCodeReports()) == 0:
		return "ramprow job codes " + n + " CODE… --moment intake"
	default:
		return "ramprow job diagnose " + n
	}
}

func nextStep(j *jobv1.Job, n string) string {
	for _, row := range stepRows(j) {
		switch row.state {
		case stepStarted:
			return fmt.Sprintf("ramprow job done %s %s", n, row.step.GetId())
		case stepReady:
			return fmt.Sprintf("ramprow job start %s %s    # %s", n, row.step.GetId(), row.step.GetTitle())
		}
	}
	return "ramprow job steps " + n
}

func nextPayment(j *jobv1.Job, n string) string {
	invoice := j.GetInvoice()
	due := invoice.GetGross()
	if invoice.GetPayable() != nil {
		due = invoice.GetPayable()
	}
	open := due.GetMinorUnits() - invoice.GetPaid().GetMinorUnits()
	if open <= 0 {
		return ""
	}
	currency := invoice.GetGross().GetCurrencyCode()
	return fmt.Sprintf("ramprow job pay %s %s --how card", n, amount(open, minorDigits(currency)))
}

func estimate(p *jobv1.Plan) *commonv1.Money {
	return sumMoney(p.GetLabourEstimate(), p.GetPartsEstimate())
}

// remedy is the command that meets a condition which the invoice waits for.
func remedy(condition, n string) string {
	format, ok := map[string]string{
		"DIAGNOSIS_MISSING": "ramprow job diagnose %s",
		"AUTHORITY_SHORT":   "ramprow job authorise %s AMOUNT --by NAME --how telephone",
		"STEPS_OPEN":        "ramprow job steps %s --open",
		"PARTS_OPEN":        "ramprow parts hold %s",
		"AUDIT_INCOMPLETE":  "ramprow tighten run %s --wrench WRENCH",
		"TOOL_ON_CAR":       "ramprow job steps %s --open",
		"PIECE_UNACCOUNTED": "ramprow job explain %s PIECE COUNT TEXT",
		"DEBRIS_OPEN":       "ramprow job debris %s FINDING --found COUNT",
		"CODES_NOT_CLEARED": "ramprow job clear-codes %s",
		"CODES_NOT_READ":    "ramprow job codes %s [CODE…] --moment after-clearing|after-road-test",
		"CODE_CAME_BACK":    "ramprow job diagnose %s",
		"ROAD_TEST_MISSING": "ramprow job road-test %s passed --km KILOMETRES",
		"ROAD_TEST_FAILED":  "ramprow job diagnose %s",

		"BUYER_INCOMPLETE":   "ramprow job billing %s FILE",
		"BILLING_INCOMPLETE": "ramprow job billing %s FILE",
		"LOOKBACK_OPEN":      "ramprow job lookback %s OUTCOME TEXT",
	}[condition]
	if condition == "SELLER_INCOMPLETE" {
		return "ramprow invoice seller-set FILE"
	}
	if !ok {
		return "ramprow job show " + n
	}
	return fmt.Sprintf(format, n)
}
