package main

import (
	"encoding/json"
	"fmt"
	"io"

	"github.com/spf13/cobra"
)

// benchOutput is how a measurement is told.
type benchOutput string

// flag lets a command be told.
func (o *benchOutput) flag(command *cobra.Command) {
	command.Flags().StringVar((*string)(o), "output", "table", "table or json")
}

// known refuses a form that does not exist, before anything is measured.
func (o benchOutput) known() error {
	if o != "table" && o != "json" {
		return fmt.Errorf("--output %q is not known; use table or json", string(o))
	}
	return nil
}

// tell writes a report, as a table in its own way.
func (o benchOutput) tell(w io.Writer, report any, table func(io.Writer) error) error {
	if o != "json" {
		return table(w)
	}
	encoder := json.NewEncoder(w)
	encoder.SetIndent("", "  ")
	return encoder.Encode(report)
}
