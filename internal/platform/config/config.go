// Package config reads a role's settings from flags and environment variables
// and checks them together before anything starts. A role names the sections
// that it reads, and no others:
//
//	var broker config.Broker
//	err := config.Bind(flags, os.Getenv, &broker)
//	// the flags are parsed by whoever owns them
//	err = config.Validate(&broker)
//
// A flag wins over its variable, a variable over the value that the section
// held before, so a caller sets defaults simply by filling the struct.
package config

import (
	"errors"
	"flag"
	"fmt"
	"strconv"
	"time"
)

// Section is a group of settings that belong together.
type Section interface {
	// Bind names each setting's flag, variable and meaning.
	Bind(*Source)
	// Validate checks the settings against each other and the file system.
	Validate() error
}

// Bind gives the sections' flags to a flag set that somebody else parses, after
// the variables have been read. Validate then checks them.
func Bind(flags *flag.FlagSet, getenv func(string) string, sections ...Section) error {
	source := &Source{flags: flags, getenv: getenv}
	for _, section := range sections {
		section.Bind(source)
	}
	return errors.Join(source.failures...)
}

// Validate checks all sections, so that a person sees every mistake at once.
func Validate(sections ...Section) error {
	var failures []error
	for _, section := range sections {
		failures = append(failures, section.Validate())
	}
	return errors.Join(failures...)
}

// Source is where settings come from while sections bind.
type Source struct {
	flags    *flag.FlagSet
	getenv   func(string) string
	failures []error
}

// String binds a text. Variable may be empty: then there is only the flag.
func (s *Source) String(target *string, name, variable, meaning string) {
	if value := s.lookup(variable); value != "" {
		*target = value
	}
	s.flags.StringVar(target, name, *target, describe(meaning, variable))
}

// Int binds a whole number.
func (s *Source) Int(target *int, name, variable, meaning string) {
	if value := s.lookup(variable); value != "" {
		parsed, err := strconv.Atoi(value)
		if err != nil {
			s.failures = append(s.failures, fmt.Errorf("%s=%q is no whole number", variable, value))
		}
		*target = parsed
	}
	s.flags.IntVar(target, name, *target, describe(meaning, variable))
}

// Duration binds a length of time, as in 2s or 1m30s.
func (s *Source) Duration(target *time.Duration, name, variable, meaning string) {
	if value := s.lookup(variable); value != "" {
		parsed, err := time.ParseDuration(value)
		if err != nil {
			s.failures = append(s.failures, fmt.Errorf("%s=%q is no length of time; write one as in 2s", variable, value))
		}
		*target = parsed
	}
	s.flags.DurationVar(target, name, *target, describe(meaning, variable))
}

func (s *Source) lookup(variable string) string {
	if variable == "" {
		return ""
	}
	return s.getenv(variable)
}

func describe(meaning, variable string) string {
	if variable == "" {
		return meaning
	}
	return fmt.Sprintf("%s (environment: %s)", meaning, variable)
}
