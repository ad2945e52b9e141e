package main

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"ramprow/internal/platform/fault"
	"ramprow/services/terminal"
)

// version is set when a release is built.
var version = "development"

func rootCommand() *cobra.Command {
	root := &cobra.Command{
		Use:           "ramprow",
		Short:         "An engine workshop's tool: from a fault code to a paid invoice",
		Version:       version,
		SilenceErrors: true,
		SilenceUsage:  true,
	}
	root.AddGroup(
		&cobra.Group{ID: groupRun, Title: "Run it:"},
		&cobra.Group{ID: groupPeople, Title: "Work with it:"},
		&cobra.Group{ID: groupCare, Title: "Look after it:"},
	)
	root.AddCommand(
		upCommand(),
		demoCommand(),
		serveCommand(),
		rebuildCommand(),
		verifyCommand(),
		tokenCommand(),
		pinCommand(),
		benchCommand(),
		simulateCommand(),
		faultsCommand(),
	)
	for _, tree := range terminal.Commands() {
		tree.GroupID = groupPeople
		if slices.Contains([]string{"catalogue", "log", "customer", "trace"}, tree.Name()) {
			tree.GroupID = groupCare
		}
		root.AddCommand(tree)
	}
	return root
}

// Groups of commands in the help.
const (
	groupRun    = "run"
	groupPeople = "people"
	groupCare   = "care"
)

// explain tells an error with every field and every unmet condition.
func explain(err error) string {
	f, ok := errors.AsType[*fault.Error](err)
	if !ok {
		return err.Error()
	}
	var b strings.Builder
	b.WriteString(err.Error())
	for _, field := range f.Fields {
		fmt.Fprintf(&b, "\n  %s: %s", field.Path, field.Description)
	}
	for _, u := range f.Unmet {
		fmt.Fprintf(&b, "\n  %s %s: %s", u.Type, u.Subject, u.Description)
	}
	return b.String()
}
