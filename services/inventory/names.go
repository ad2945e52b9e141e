package inventory

import (
	"cmp"
	"fmt"
	"strconv"
	"strings"
)

// numberOf gives 17 for jobs/17, and 0 for what is no such name.
func numberOf(name string) uint64 {
	_, digits, _ := strings.Cut(name, "/")
	n, err := strconv.ParseUint(digits, 10, 64)
	if err != nil {
		return 0
	}
	return n
}

func compareJobs(a, b string) int { return compareNumbers(numberOf(a), numberOf(b)) }

// checkJob refuses what another service should never have sent.
func checkJob(job string) error {
	if !strings.HasPrefix(job, "jobs/") || numberOf(job) == 0 {
		return fmt.Errorf("%q is no job's name", job)
	}
	return nil
}

func holdName(job string) string { return fmt.Sprintf("holds/%d", numberOf(job)) }

func orderName(number uint64) string { return fmt.Sprintf("orders/%d", number) }

func returnName(number uint64) string { return fmt.Sprintf("returns/%d", number) }

func partName(number string) string { return "parts/" + number }

func compareNumbers(a, b uint64) int { return cmp.Compare(a, b) }
