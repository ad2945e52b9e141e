package terminal

import (
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"ramprow/internal/catalogue"
	cataloguev1 "ramprow/proto/ramprow/catalogue/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

func catalogueCommands() *cobra.Command {
	return tree("catalogue", "What the workshop knows of the cars that it repairs",
		"  ramprow catalogue check my-car.yaml\n  ramprow catalogue import my-car.yaml",
		catalogueCheck, catalogueImport, catalogueList, catalogueShow,
	)
}

func catalogueCheck(*options) *cobra.Command {
	return &cobra.Command{
		Use:     "check FILE…",
		Short:   "Report every mistake in catalogue files; needs no server",
		Example: "  ramprow catalogue check my-car.yaml",
		RunE: func(command *cobra.Command, args []string) error {
			errorCount := 0
			for _, file := range args {
				n, err := checkFile(command.OutOrStdout(), file)
				if err != nil {
					return err
				}
				errorCount += n
			}
			if errorCount > 0 {
				return fmt.Errorf("%s; correct them and check again", plural(errorCount, "mistake"))
			}
			return nil
		},
	}
}

// checkFile prints what is wrong with a file and counts what keeps it out.
func checkFile(out io.Writer, file string) (int, error) {
	c, err := catalogue.LoadFile(file)
	if problems, ok := errors.AsType[*catalogue.Problems](err); ok {
		return problems.Errors(), catalogue.Print(out, problems.List)
	}
	if err != nil {
		return 0, err
	}
	if err := catalogue.Print(out, c.Warnings()); err != nil {
		return 0, err
	}
	m := c.Message()
	_, err = fmt.Fprintf(out, "%s: %s edition %d is right: %s, %s\n", file, m.GetId(), m.GetEdition(),
		plural(len(m.GetPieces()), "piece"), plural(len(m.GetJoints()), "joint"))
	return 0, err
}

func catalogueImport(o *options) *cobra.Command {
	var preview bool
	command := &cobra.Command{
		Use:     "import FILE",
		Short:   "Make an edition known to the site; with any mistake nothing is imported",
		Example: "  ramprow catalogue import my-car.yaml --as owner",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			c, err := catalogue.LoadFile(args[0])
			if err != nil {
				return err
			}
			r, err := s.Job.ImportCatalogue(ctx, &jobv1.ImportCatalogueRequest{RequestId: s.once(), Catalogue: c.Message(), ValidateOnly: preview})
			if err != nil {
				return err
			}
			done := "imported"
			if preview {
				done = "could be imported"
			}
			return s.answer(r, append([]string{r.GetVersion() + ": " + done + repeated(r.GetReceipt())}, r.GetWarnings()...)...)
		}),
	}
	command.Flags().BoolVar(&preview, "preview", false, "have the server check it only")
	return command
}

func catalogueList(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "list",
		Short:   "List the newest edition of each catalogue",
		Example: "  ramprow catalogue list",
		RunE: o.run(func(ctx context.Context, s *session, _ []string) error {
			r, err := s.Job.ListCatalogues(ctx, &jobv1.ListCataloguesRequest{MinRevision: s.atLeast})
			if err != nil {
				return err
			}
			return showList(s, r.GetCatalogues(), "No catalogue here. The owner brings one: ramprow catalogue import FILE", []column[*jobv1.CatalogueSummary]{
				left("CATALOGUE", (*jobv1.CatalogueSummary).GetCatalogue),
				figure("EDITION", func(c *jobv1.CatalogueSummary) string { return figures(c.GetEdition()) }),
				left("WHAT", (*jobv1.CatalogueSummary).GetTitle),
				figure("PIECES", func(c *jobv1.CatalogueSummary) string { return figures(c.GetPieces()) }),
				figure("JOINTS", func(c *jobv1.CatalogueSummary) string { return figures(c.GetJoints()) }),
				left("NOTICE", (*jobv1.CatalogueSummary).GetNotice),
			})
		}),
	}
}

// signRow is one thing that can be noted at a car: a code, a symptom, a test or a cause.
type signRow struct{ kind, id, title string }

func catalogueShow(o *options) *cobra.Command {
	var edition uint32
	command := &cobra.Command{
		Use:     "show CATALOGUE",
		Short:   "Show what can be noted, tested and found at a car of a catalogue",
		Example: "  ramprow catalogue show marlow-orrin",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			r, err := s.Job.GetCatalogue(ctx, &jobv1.GetCatalogueRequest{Catalogue: args[0], Edition: edition, MinRevision: s.atLeast})
			if err != nil {
				return err
			}
			if s.json {
				return s.showJSON(r.GetCatalogue())
			}
			if err := s.say("%s  %s\n%s\n", r.GetVersion(), r.GetCatalogue().GetTitle(), r.GetCatalogue().GetNotice()); err != nil {
				return err
			}
			return writeTable(s.out, signRows(r.GetCatalogue()), []column[signRow]{
				left("KIND", func(r signRow) string { return r.kind }),
				left("ID", func(r signRow) string { return r.id }),
				left("WHAT", func(r signRow) string { return r.title }),
			})
		}),
	}
	command.Flags().Uint32Var(&edition, "edition", 0, "this edition; otherwise the newest")
	return command
}

func signRows(c *cataloguev1.Catalogue) []signRow {
	var rows []signRow
	for _, f := range c.GetFeatures() {
		for _, v := range f.GetValues() {
			rows = append(rows, signRow{"feature", f.GetId() + "=" + v.GetId(), f.GetTitle() + ": " + v.GetTitle()})
		}
	}
	for _, x := range c.GetCodes() {
		rows = append(rows, signRow{"code", x.GetCode(), x.GetTitle()})
	}
	for _, x := range c.GetSymptoms() {
		rows = append(rows, signRow{"symptom", x.GetId(), x.GetTitle()})
	}
	for _, x := range c.GetTests() {
		rows = append(rows, signRow{"test", x.GetId(), x.GetTitle()})
	}
	for _, x := range c.GetCauses() {
		rows = append(rows, signRow{"cause", x.GetId(), x.GetTitle()})
	}
	return rows
}
