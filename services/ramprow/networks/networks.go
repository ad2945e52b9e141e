// Package networks answers questions on published Bayesian networks exactly, and tells what it took: the
// yardstick for the exact methods of the diagnosis.
package networks

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"time"

	"ramprow/internal/engine/diagnosis/bayesnet"
)

// Config is what is asked of the networks.
type Config struct {
	// Path of a BIF file, or of a folder whose *.bif files are all asked.
	Path string
	// Evidence as in A=x.
	Evidence []string
	// Queries name variables; none: all, in a file.
	Queries []string
	// Megabytes that the tables of one answer may take.
	Megabytes float64
	// Check multiplies out the whole joint distribution where it has at most CheckWorlds worlds.
	Check bool
}

// CheckWorlds is how many worlds are multiplied out at most.
const CheckWorlds = 1 << 22

// Result is what one network answered.
type Result struct {
	File      string `json:"file"`
	Network   string `json:"network,omitempty"`
	Variables int    `json:"variables"`
	Edges     int    `json:"edges"`
	// Parameters are the table entries that are free to choose.
	Parameters int     `json:"parameters"`
	Rounding   float64 `json:"row_rounding"`
	// Relevant variables bear on the question; Width and AtLeast are of the graph of these, without evidence.
	Relevant  int     `json:"relevant_variables"`
	Width     int     `json:"width"`
	AtLeast   int     `json:"treewidth_at_least"`
	Largest   float64 `json:"largest_table_entries"`
	TableMB   float64 `json:"tables_mb"`
	ReadMS    float64 `json:"read_ms"`
	AnswerMS  float64 `json:"answer_ms"`
	AllocMB   float64 `json:"allocated_mb"`
	Evidence  float64 `json:"evidence_probability"`
	LogEvid   float64 `json:"evidence_log"`
	Posterior []Row   `json:"posteriors,omitempty"`
	Checked   *Check  `json:"checked,omitempty"`
	Refused   string  `json:"refused,omitempty"`
}

// Row is one variable's posterior.
type Row struct {
	Variable string    `json:"variable"`
	States   []string  `json:"states"`
	P        []float64 `json:"p"`
}

// Check is what multiplying out gave.
type Check struct {
	Worlds     float64 `json:"worlds"`
	Difference float64 `json:"largest_difference"`
}

// Run asks every network at the path. A network that refuses is told as such; an error is of the path or of the evidence's spelling.
func Run(c Config) ([]Result, error) {
	files, err := filesOf(c.Path)
	if err != nil {
		return nil, err
	}
	evidence, err := parse(c.Evidence)
	if err != nil {
		return nil, err
	}
	results := make([]Result, 0, len(files))
	for _, file := range files {
		results = append(results, ask(file, evidence, c))
	}
	return results, nil
}

func filesOf(path string) ([]string, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if !info.IsDir() {
		return []string{path}, nil
	}
	var files []string
	err = filepath.WalkDir(path, func(name string, entry fs.DirEntry, err error) error {
		if err == nil && !entry.IsDir() && strings.EqualFold(filepath.Ext(name), ".bif") {
			files = append(files, name)
		}
		return err
	})
	if err == nil && len(files) == 0 {
		return nil, fmt.Errorf("%s holds no file that ends in .bif", path)
	}
	slices.Sort(files)
	return files, err
}

func parse(list []string) (map[string]string, error) {
	evidence := map[string]string{}
	for _, e := range list {
		name, state, found := strings.Cut(e, "=")
		name, state = strings.TrimSpace(name), strings.TrimSpace(state)
		if before, twice := evidence[name]; !found || name == "" || state == "" || twice && before != state {
			return nil, fmt.Errorf("--evidence %q: write VARIABLE=STATE, each variable once", e)
		}
		evidence[name] = state
	}
	return evidence, nil
}

// ask reads one network and answers. Its memory is what the answer allocated, not what was alive at once.
func ask(file string, evidence map[string]string, c Config) Result {
	r := Result{File: file}
	text, err := os.ReadFile(file) //nolint:gosec // the caller names the file
	if err != nil {
		r.Refused = err.Error()
		return r
	}
	began := time.Now()
	n, err := bayesnet.ReadBIF(string(text))
	r.ReadMS = millis(time.Since(began))
	if err != nil {
		r.Refused = err.Error()
		return r
	}
	r.describe(n)
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	began = time.Now()
	answer, err := n.Ask(bayesnet.Question{Evidence: evidence, Variables: c.Queries, Limit: c.Megabytes * 1e6})
	r.AnswerMS = millis(time.Since(began))
	runtime.ReadMemStats(&after)
	r.AllocMB = float64(after.TotalAlloc-before.TotalAlloc) / 1e6
	r.Relevant, r.Width, r.AtLeast = answer.Effort.Variables, answer.Effort.Width, answer.Effort.Bound
	r.Largest, r.TableMB = answer.Effort.Largest, answer.Effort.Bytes/1e6
	if err != nil {
		r.Refused = refusal(n, err)
		return r
	}
	r.Evidence, r.LogEvid = answer.Evidence, answer.LogEvidence
	r.Posterior = rows(n, answer.Posterior, c.Queries)
	if c.Check {
		r.Checked = check(n, evidence, answer)
	}
	return r
}

func (r *Result) describe(n *bayesnet.Network) {
	r.Network, r.Variables, r.Rounding = n.Name, len(n.Variables), n.Rounding
	for _, v := range n.Variables {
		r.Edges += len(v.Parents)
		r.Parameters += len(v.Table) / len(v.States) * (len(v.States) - 1)
	}
}

// rows gives posteriors in the order in which they were asked for, else in the file's.
func rows(n *bayesnet.Network, posterior [][]float64, queries []string) []Row {
	var out []Row
	for v, p := range posterior {
		if p != nil {
			out = append(out, Row{n.Variables[v].Name, n.Variables[v].States, p})
		}
	}
	slices.SortStableFunc(out, func(a, b Row) int {
		return cmp.Compare(slices.Index(queries, a.Variable), slices.Index(queries, b.Variable))
	})
	return out
}

// refusal adds the names that there are to a question that used others.
func refusal(n *bayesnet.Network, err error) string {
	if _, mistaken := errors.AsType[*bayesnet.InvalidError](err); !mistaken {
		return err.Error()
	}
	const most = 40
	var names []string
	for _, v := range n.Variables {
		names = append(names, v.Name+" ("+strings.Join(v.States, ", ")+")")
	}
	if len(names) > most {
		names = append(names[:most], fmt.Sprintf("and %d more", len(n.Variables)-most))
	}
	return err.Error() + "; it has " + strings.Join(names, ", ")
}

func millis(d time.Duration) float64 { return float64(d.Nanoseconds()) / 1e6 }
