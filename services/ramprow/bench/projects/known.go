package projects

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"slices"
	"strconv"
)

// best is what is known of an instance.
type best struct {
	makespan int
	// proved: nothing shorter exists.
	proved bool
}

// readKnown reads a table of best known values: a comma separated file whose first
// line names the columns. Used are 'instance', 'optimal_or_best_known' (or 'best'),
// and 'proven_optimal', if there is one. A file that is not there is an empty table,
// unless it must be there.
func readKnown(file string, must bool) (map[string]best, error) {
	f, err := os.Open(file) //nolint:gosec // the caller's own choice
	if errors.Is(err, fs.ErrNotExist) && !must {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	defer func() { _ = f.Close() }() // only read
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	if len(rows) == 0 {
		return nil, fmt.Errorf("%s: has no line with the columns' names", file)
	}
	column := func(names ...string) int {
		return slices.IndexFunc(rows[0], func(s string) bool { return slices.Contains(names, s) })
	}
	name, value, proved := column("instance"), column("optimal_or_best_known", "best"), column("proven_optimal")
	if name < 0 || value < 0 {
		return nil, fmt.Errorf("%s: the columns 'instance' and 'optimal_or_best_known' are needed", file)
	}
	known := map[string]best{}
	for i, row := range rows[1:] {
		makespan, err := strconv.Atoi(row[value])
		if err != nil || makespan < 0 {
			return nil, fmt.Errorf("%s: line %d: %q is no makespan", file, i+2, row[value])
		}
		known[row[name]] = best{makespan, proved >= 0 && row[proved] == "1"}
	}
	return known, nil
}
