// Command ramprow is an engine workshop's tool: every role of it, and the
// terminal commands of the people who work with it.
package main

import (
	"context"
	"fmt"
	"os"
)

func main() {
	spendMemory()
	if err := rootCommand().ExecuteContext(context.Background()); err != nil {
		fmt.Fprintln(os.Stderr, "ramprow: "+explain(err))
		os.Exit(1)
	}
}
