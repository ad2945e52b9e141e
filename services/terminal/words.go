package terminal

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// enum is a generated enum type.
type enum interface {
	~int32
	protoreflect.Enum
}

// word turns a value into what people read, as in JOB_STATE_IN_WORK to "in work".
func word(e protoreflect.Enum) string {
	value := e.Descriptor().Values().ByNumber(e.Number())
	if value == nil {
		return fmt.Sprintf("number %d", e.Number()) // from a newer server
	}
	if e.Number() == 0 {
		return ""
	}
	return strings.ReplaceAll(typed(value), "-", " ")
}

// typed is a value as people type it, as in after-road-test. The prefix is
// that of the zero value, which is always called …_UNSPECIFIED.
func typed(value protoreflect.EnumValueDescriptor) string {
	values, ok := value.Parent().(protoreflect.EnumDescriptor)
	if !ok {
		return string(value.Name())
	}
	prefix := strings.TrimSuffix(string(values.Values().ByNumber(0).Name()), "UNSPECIFIED")
	return strings.ToLower(strings.ReplaceAll(strings.TrimPrefix(string(value.Name()), prefix), "_", "-"))
}

// choices lists what can be typed for an enum.
func choices[E enum]() []string {
	var zero E
	values := zero.Descriptor().Values()
	var list []string
	for i := range values.Len() {
		if values.Get(i).Number() != 0 {
			list = append(list, typed(values.Get(i)))
		}
	}
	return list
}

// choose finds the value that was typed.
func choose[E enum](what, text string) (E, error) {
	var zero E
	values := zero.Descriptor().Values()
	for i := range values.Len() {
		if v := values.Get(i); v.Number() != 0 && typed(v) == text {
			return E(v.Number()), nil
		}
	}
	return zero, fmt.Errorf("%s %q is unknown; use one of %s", what, text, strings.Join(choices[E](), ", "))
}

// chooseOptional is choose for a flag that may be left out.
func chooseOptional[E enum](what, text string) (E, error) {
	if text == "" {
		var zero E
		return zero, nil
	}
	return choose[E](what, text)
}

// completeFlag offers the words that a flag takes.
func completeFlag(command *cobra.Command, flag string, words ...string) {
	// The only error is a flag that does not exist; the test of the tree would show it.
	_ = command.RegisterFlagCompletionFunc(flag, cobra.FixedCompletions(words, cobra.ShellCompDirectiveNoFileComp))
}

// completeAt offers the words that the argument at a place takes, from 0.
func completeAt(place int, words ...string) cobra.CompletionFunc {
	return func(_ *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
		if len(args) == place {
			return words, cobra.ShellCompDirectiveNoFileComp
		}
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
}
