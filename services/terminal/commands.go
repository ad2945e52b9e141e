package terminal

import (
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"
)

// Commands gives the people's commands, one tree for each kind of work. The
// caller puts them under a root and into its groups.
func Commands() []*cobra.Command {
	trees := []*cobra.Command{
		jobCommands(), invoiceCommands(), customerCommands(), partsCommands(), bayCommands(), tightenCommands(), catalogueCommands(), logCommands(), traceCommands(),
	}
	for _, tree := range trees {
		finish(tree)
	}
	return trees
}

// tree groups commands that share their flags.
func tree(use, short, example string, build ...func(*options) *cobra.Command) *cobra.Command {
	o := &options{}
	parent := group(use, short, example)
	for _, b := range build {
		parent.AddCommand(b(o))
	}
	o.bind(parent)
	return parent
}

// group is a command that only has commands below it. Alone it helps; a word
// that it does not know is an error, not a reason to help and be content.
func group(use, short, example string) *cobra.Command {
	return &cobra.Command{
		Use: use, Short: short, Example: example, DisableFlagsInUseLine: true, SuggestionsMinimumDistance: 2,
		Args: func(command *cobra.Command, args []string) error {
			if len(args) == 0 {
				return nil
			}
			message := fmt.Sprintf("there is no command %q in %s", args[0], command.CommandPath())
			if near := command.SuggestionsFor(args[0]); len(near) > 0 {
				message += "; did you mean " + strings.Join(near, " or ") + "?"
			}
			return errors.New(message)
		},
		RunE: func(command *cobra.Command, _ []string) error { return command.Help() },
	}
}

// finish has every command check its arguments against its own Use line, so
// that what help shows is what is asked for.
func finish(command *cobra.Command) {
	for _, child := range command.Commands() {
		finish(child)
	}
	if command.Runnable() && command.Args == nil {
		command.Args = checkArguments
	}
}

// placeholder is one word of a Use line after the name: JOB, [JOB], CAUSE… or [CODE…].
type placeholder struct {
	name     string
	optional bool
	repeated bool
}

func placeholders(use string) []placeholder {
	words := strings.Fields(use)[1:]
	list := make([]placeholder, len(words))
	for i, w := range words {
		inner := strings.Trim(w, "[]")
		list[i] = placeholder{name: strings.TrimSuffix(inner, "…"), optional: inner != w, repeated: strings.HasSuffix(inner, "…")}
	}
	return list
}

// checkArguments says which word is missing or too much, and shows how it is done.
func checkArguments(command *cobra.Command, args []string) error {
	expected := placeholders(command.Use)
	for i, p := range expected {
		if i >= len(args) && !p.optional {
			return misuse(command, p.name+" is missing")
		}
	}
	if n := len(expected); len(args) > n && (n == 0 || !expected[n-1].repeated) {
		return misuse(command, fmt.Sprintf("%q is one word too many", args[n]))
	}
	return nil
}

func misuse(command *cobra.Command, what string) error {
	parent := command.Parent()
	line := command.Use
	if parent != nil {
		line = parent.CommandPath() + " " + command.Use
	}
	example, _, _ := strings.Cut(strings.TrimSpace(command.Example), "\n")
	return fmt.Errorf("%s\n  usage  %s\n  as in  %s", what, line, example)
}
