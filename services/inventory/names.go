package inventory

import (
	"cmp"
	"fmt"
	"strings"

	rest "ramprow/internal/platform/shelf"
)

func compareJobs(a, b string) int { return compareNumbers(rest.Number(a), rest.Number(b)) }

// checkJob refuses what another service should never have sent.
func checkJob(job string) error {
	if !strings.HasPrefix(job, "jobs/") || rest.Number(job) == 0 {
		return fmt.Errorf("%q is no job's name", job)
	}
	return nil
}

func holdName(job string) string { return fmt.Sprintf("holds/%d", rest.Number(job)) }

func orderName(number uint64) string { return fmt.Sprintf("orders/%d", number) }

func returnName(number uint64) string { return fmt.Sprintf("returns/%d", number) }

func partName(number string) string { return "parts/" + number }

func compareNumbers(a, b uint64) int { return cmp.Compare(a, b) }
