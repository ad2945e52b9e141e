package terminal

import (
	"bytes"
	"context"
	"encoding/xml"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"

	"ramprow/internal/engine/billing/en16931"
)

// outsideChecks are a schema and schematron files of the caller, run by tools
// that are installed on his machine.
type outsideChecks struct {
	schema string
	rules  []string
	// run gives a tool's output and whether it ended well.
	run func(ctx context.Context, name string, args ...string) ([]byte, error)
	// find gives the path of the first tool that is there, "" for none.
	find func(names ...string) string
}

// SaxonVariable names a Saxon-HE jar where it is not at Debian's place.
const SaxonVariable = "RAMPROW_SAXON_JAR"

// debianSaxon is where Debian's libsaxonhe-java puts it.
const debianSaxon = "/usr/share/java/Saxon-HE.jar"

// check runs what was asked for. A tool that is not installed is an error, not a silent pass.
func (c outsideChecks) check(ctx context.Context, file string) ([]en16931.Finding, error) {
	var findings []en16931.Finding
	if c.schema != "" {
		more, err := c.bySchema(ctx, file)
		if err != nil {
			return nil, err
		}
		findings = append(findings, more...)
	}
	for _, rules := range c.rules {
		more, err := c.bySchematron(ctx, file, rules)
		if err != nil {
			return nil, err
		}
		findings = append(findings, more...)
	}
	return findings, nil
}

func (c outsideChecks) bySchema(ctx context.Context, file string) ([]en16931.Finding, error) {
	if _, err := os.Stat(c.schema); err != nil {
		return nil, fmt.Errorf("reading the schema: %w", err)
	}
	xmllint := c.find("xmllint")
	if xmllint == "" {
		return nil, errors.New("xmllint is not installed, so the schema was not tried; it is in Debian's libxml2-utils")
	}
	out, err := c.run(ctx, xmllint, "--noout", "--nonet", "--schema", c.schema, file)
	if err == nil {
		return nil, nil
	}
	var findings []en16931.Finding
	for line := range strings.Lines(string(out)) {
		if place, text, ok := strings.Cut(strings.TrimSpace(line), ": element "); ok {
			findings = append(findings, en16931.Finding{Rule: "XSD", Field: place, Text: text, Severity: en16931.Fatal})
		}
	}
	if len(findings) == 0 {
		return nil, fmt.Errorf("xmllint could not check %s: %w: %.500s", file, err, out)
	}
	return findings, nil
}

func (c outsideChecks) bySchematron(ctx context.Context, file, rules string) ([]en16931.Finding, error) {
	if extension := strings.ToLower(filepath.Ext(rules)); extension == ".sch" {
		return nil, fmt.Errorf("%s is schematron source; give the compiled file (.xslt) that its publisher issues beside it", rules)
	}
	if _, err := os.Stat(rules); err != nil {
		return nil, fmt.Errorf("reading the rules: %w", err)
	}
	name, args, err := c.saxon()
	if err != nil {
		return nil, err
	}
	out, err := c.run(ctx, name, append(args, "-s:"+file, "-xsl:"+rules)...)
	if err != nil {
		return nil, fmt.Errorf("saxon could not run %s over %s: %w: %.500s", rules, file, err, out)
	}
	return failedAsserts(out)
}

// saxon gives the command that runs Saxon: the jar by name, Debian's jar, or a program of that name.
func (c outsideChecks) saxon() (name string, args []string, err error) {
	java := c.find("java")
	for _, jar := range []string{os.Getenv(SaxonVariable), debianSaxon} {
		if _, err := os.Stat(jar); jar != "" && err == nil && java != "" { //nolint:gosec // the caller's own setting
			return java, []string{"-cp", jar, "net.sf.saxon.Transform"}, nil
		}
	}
	if program := c.find("saxon", "saxon-xslt"); program != "" {
		return program, nil, nil
	}
	return "", nil, fmt.Errorf("saxon is not installed, so the rules were not tried; it is in Debian's libsaxonhe-java (with java), or name its jar in %s", SaxonVariable)
}

// report is the outcome of a schematron run (SVRL, ISO/IEC 19757-3).
type report struct {
	XMLName xml.Name `xml:"http://purl.oclc.org/dsdl/svrl schematron-output"`
	Failed  []struct {
		ID       string `xml:"id,attr"`
		Flag     string `xml:"flag,attr"`
		Location string `xml:"location,attr"`
		Text     string `xml:"text"`
	} `xml:"failed-assert"`
}

func failedAsserts(out []byte) ([]en16931.Finding, error) {
	var r report
	if err := xml.Unmarshal(out, &r); err != nil {
		return nil, fmt.Errorf("the rules gave no schematron report (SVRL): %w", err)
	}
	var findings []en16931.Finding
	for _, f := range r.Failed {
		severity := en16931.Fatal
		if f.Flag == "warning" {
			severity = en16931.Warning
		}
		findings = append(findings, en16931.Finding{Rule: f.ID, Field: f.Location, Text: strings.Join(strings.Fields(f.Text), " "), Severity: severity})
	}
	return findings, nil
}

func runTool(ctx context.Context, name string, args ...string) ([]byte, error) {
	var out, complaints bytes.Buffer
	command := exec.CommandContext(ctx, name, args...) //nolint:gosec // the tool that the caller installed, over his own files
	command.Stdout, command.Stderr = &out, &complaints
	err := command.Run()
	if err != nil || out.Len() == 0 {
		out.Write(complaints.Bytes())
	}
	return out.Bytes(), err
}

func findTool(names ...string) string {
	for _, name := range names {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	return ""
}
