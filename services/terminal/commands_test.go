package terminal

import (
	"bytes"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/spf13/cobra"
)

// execute runs a command line below a root, as the program does.
func execute(t *testing.T, stdin string, args ...string) (string, error) {
	t.Helper()
	root := &cobra.Command{Use: "ramprow", SilenceErrors: true, SilenceUsage: true}
	root.AddCommand(Commands()...)
	var out bytes.Buffer
	root.SetOut(&out)
	root.SetErr(&bytes.Buffer{})
	root.SetIn(strings.NewReader(stdin))
	root.SetArgs(args)
	err := root.ExecuteContext(t.Context())
	return out.String(), err
}

// alone takes away what the machine's environment says about who and where.
func alone(t *testing.T) {
	t.Helper()
	for _, v := range []string{TokenVariable, RoleVariable, CAVariable, CertVariable, KeyVariable} {
		t.Setenv(v, "")
	}
	for _, role := range append(RoleNames(), RoleTraces) {
		t.Setenv(AddressVariable(role), "")
	}
	t.Setenv(DataVariable, t.TempDir())
}

func walk(command *cobra.Command, visit func(*cobra.Command)) {
	visit(command)
	for _, child := range command.Commands() {
		walk(child, visit)
	}
}

func TestEveryCommandHelpsWithAnExampleOfItself(t *testing.T) {
	root := &cobra.Command{Use: "ramprow"}
	root.AddCommand(Commands()...)
	seen := 0
	for _, tree := range root.Commands() {
		walk(tree, func(c *cobra.Command) {
			seen++
			if c.Short == "" || strings.HasSuffix(c.Short, ".") {
				t.Errorf("%s: short help %q", c.CommandPath(), c.Short)
			}
			for line := range strings.SplitSeq(c.Example, "\n") {
				if strings.HasPrefix(line, "  ramprow ") && !strings.HasPrefix(line, "  "+c.CommandPath()) {
					t.Errorf("%s: the example is of another command: %s", c.CommandPath(), line)
				}
			}
			if !strings.Contains(c.Example, c.CommandPath()) {
				t.Errorf("%s: no example of it in %q", c.CommandPath(), c.Example)
			}
		})
	}
	if seen < 70 {
		t.Errorf("only %d commands are there", seen)
	}
}

func TestArgumentsAreCheckedAgainstTheUseLine(t *testing.T) {
	alone(t)
	tests := []struct {
		line string
		want string
	}{
		{"job start 17", "STEP is missing\n  usage  ramprow job start JOB STEP\n  as in  ramprow job start 17 open.valve-cover"},
		{"job start", "JOB is missing"},
		{"job list 17", `"17" is one word too many`},
		{"job confirm 17", "CAUSE is missing"},
		{"job watch 17 18", `"18" is one word too many`},
		{"job lsit", `there is no command "lsit" in ramprow job; did you mean list?`},
		{"tighten wrench forge", `there is no command "forge" in ramprow tighten wrench`},
		{"job authorise 17 850", `required flag(s) "by", "how" not set`},
		{"job show 17 --output yaml", `--output "yaml" is unknown; use table or json`},
		{"job show 17 --timeout 0s", "--timeout 0s is no time"},
		{"job show 17", "who are you? give --as with one of dispatcher, parts-clerk, technician, owner"},
		{"job show 17 --as chef", `there is no role "chef"; use one of dispatcher`},
		{"job show 17 --as owner", "no token of the owner in "},
		{"job show 17 --token x --ca /nowhere/ca.pem", "--ca cannot be read"},
		{"job show x --token x", `"x" is no job; write its number`},
		{"job codes 17 P03:04:05:06 --moment intake --token x", `"P03:04:05:06" is no code`},
		{"job codes 17 --moment lunch --token x", "use one of intake, after-clearing, after-road-test"},
		{"job test 17 coil good --token x", "use one of positive, negative"},
		{"job found 17 rust --token x", `KIND "rust" is unknown`},
		{"job road-test 17 okay --token x", `a road test is passed or failed, not "okay"`},
		{"job done 17 s --worked 12 --token x", `"12" is no duration`},
		{"job withdraw 17 --reason r --token x", "at least one of the flags in the group [symptom test] is required"},
		{"parts receive MO-1 --token x", `"MO-1" is no quantity of a part`},
		{"parts receive A-1:1 --damaged B-2:1 --token x", "B-2 came damaged, but is not among what was received"},
		{"parts count MO-1 -- -3", `who are you?`},
		{"parts count MO-1 3 --cause rust --token x", `--cause "rust" is unknown; use one of mislaid, not-entered`},
		{"parts pick x --token x", `"x" is no job`},
		{"parts receive A-1:1 --send-back B-2:1 --token x", "B-2 goes back, but is not among what was received"},
		{"parts failed 17 pump --token x", `required flag(s) "reason" not set`},
		{"parts set-apart MO-1 2 --kind rust --reason r --token x", `--kind "rust" is unknown`},
		{"parts end-return 5 eaten --token x", `OUTCOME "eaten" is unknown`},
		{"parts cancel-order x --reason r --token x", `"x" is no order`},
		{"bay block bays/1 --from 09:00 --to 08:00 --reason r --token x", "--to 08:00 is not after --from 09:00"},
		{"bay set lift1 --token x", `"lift1" is no name; write bays/ID, people/ID or tools/ID`},
		{"bay board --day someday --token x", `"someday" is no day`},
		{"bay board --days 0 --token x", "--days 0 cannot be shown"},
		{"bay calendar --bay 1 --who anna --token x", "of one bay or of one person"},
		{"bay calendar --days 0 --token x", "--days 0 cannot be written"},
		{"tighten post 17 cover three --wrench w1 --token x", `FASTENER "three" is no number`},
		{"log parked --service tea --token x", `--service "tea" is unknown`},
	}
	for _, tt := range tests {
		_, err := execute(t, "", strings.Fields(tt.line)...)
		if err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s:\n got %v\nwant %s", tt.line, err, tt.want)
		}
	}
}

func TestCatalogueCheckReportsEveryMistake(t *testing.T) {
	out, err := execute(t, "", "catalogue", "check", "testdata/broken.yaml")
	if err == nil || !strings.Contains(err.Error(), "3 mistakes; correct them") {
		t.Errorf("got %v", err)
	}
	want := `testdata/broken.yaml:13:28: pieces[0].blocked_by[0].any_of[0]: there is no piece "ghost" (UNKNOWN_PIECE)
testdata/broken.yaml:31:5: joints[0].order: write every fastener from 1 to 4 once (PATTERN_ORDER)
testdata/broken.yaml:34:33: joints[0].stage_sets[0].stages[0].torque_nm: none of its tools measures all of 9 to 11 N·m; a gun proves nothing (STAGE_TORQUE_NOT_MEASURABLE)
`
	if diff := cmp.Diff(want, out); diff != "" {
		t.Error(diff)
	}
	if _, err := execute(t, "", "catalogue", "check", "testdata/nothing.yaml"); err == nil {
		t.Error("a file that is not there is right")
	}
}

func TestCompletionOffersWhatCanBeTyped(t *testing.T) {
	for line, want := range map[string][]string{
		"job test 17 swap-coil ":        {"positive", "negative"},
		"job codes 17 --moment ":        {"intake", "after-clearing", "after-road-test"},
		"job list --as ":                {"dispatcher", "parts-clerk", "technician", "owner"},
		"job road-test 17 ":             {"passed", "failed"},
		"log parked --service ":         {"job", "inventory", "scheduling", "torque-audit"},
		"parts holds --state ":          {"held", "short", "settled", "released", "expired"},
		"parts count MO-1 2 --cause ":   {"mislaid", "not-entered", "wrong-entry", "spoiled", "miscounted", "unknown", "other"},
		"parts end-return 5 ":           {"credited", "replaced", "refused", "kept", "lost"},
		"bay list --kind ":              {"bay", "person", "tool"},
		"job show 17 --output ":         {"table", "json"},
		"job found 17 ":                 {"design", "seized", "second-fault", "broken-up", "cause-not-found", "other"},
		"tighten wrench set w1 --kind ": {"setting", "indicating", "torque-angle", "angle", "gun"},
	} {
		fields := append([]string{cobra.ShellCompNoDescRequestCmd}, strings.Split(line, " ")...)
		out, err := execute(t, "", fields...)
		got := strings.Fields(out)
		if i := slices.IndexFunc(got, func(w string) bool { return strings.HasPrefix(w, ":") }); i >= 0 {
			got = got[:i]
		}
		if err != nil || !slices.Equal(got, want) {
			t.Errorf("%q: %v, %v; want %v", line, got, err, want)
		}
	}
}
