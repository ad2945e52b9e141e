package terminal

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/fault"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

func tightenWrenches(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "wrenches",
		Short:   "List the register of wrenches",
		Example: "  ramprow tighten wrenches",
		RunE: o.run(func(ctx context.Context, s *session, _ []string) error {
			rows, err := s.wrenches(ctx)
			if err != nil {
				return err
			}
			return showList(s, rows, "No wrench is registered. Begin: ramprow tighten wrench set w1 --kind setting --range 2-25 …", []column[*torqueauditv1.Wrench]{
				left("WRENCH", func(w *torqueauditv1.Wrench) string { return number(w.GetName()) }),
				left("WHAT", (*torqueauditv1.Wrench).GetTitle),
				left("KIND", func(w *torqueauditv1.Wrench) string { return word(w.GetKind()) }),
				figure("N·m", func(w *torqueauditv1.Wrench) string { return fmt.Sprintf("%g-%g", w.GetMinNm(), w.GetMaxNm()) }),
				figure("± %", func(w *torqueauditv1.Wrench) string { return measure(w.GetDeviationPercent()) }),
				left("DUE", func(w *torqueauditv1.Wrench) string { return at(w.GetCalibrationDue(), s.now()) }),
				left("CERTIFICATE", (*torqueauditv1.Wrench).GetCertificate),
				figure("READINGS", func(w *torqueauditv1.Wrench) string { return figures(w.GetCycles()) }),
				left("LAST CHECK", func(w *torqueauditv1.Wrench) string { return checkWord(w.GetLastCheck()) }),
			})
		}),
	}
}

func (s *session) wrenches(ctx context.Context) ([]*torqueauditv1.Wrench, error) {
	return collect(s, 0, func(size int32, token string) ([]*torqueauditv1.Wrench, string, error) {
		r, err := s.Audit.ListWrenches(ctx, &torqueauditv1.ListWrenchesRequest{PageSize: size, PageToken: token, MinRevision: s.atLeast})
		return r.GetWrenches(), r.GetNextPageToken(), err
	})
}

func checkWord(c *torqueauditv1.WrenchCheck) string {
	if c == nil {
		return ""
	}
	return map[bool]string{true: "passed", false: "failed"}[c.GetPassed()]
}

// tightenWrench groups what changes the register.
func tightenWrench(o *options) *cobra.Command {
	parent := group("wrench", "Register a wrench, or keep its check",
		"  ramprow tighten wrench set w1 --kind setting --range 2-25\n  ramprow tighten wrench check w1 --target 20 --measured 20.3")
	parent.AddCommand(wrenchSet(o), wrenchCheck(o), wrenchDue(o))
	return parent
}

// wrenchChange is what the flags of `wrench set` fill.
type wrenchChange struct {
	title, kind, reach, tool, certificate, calibrated, due string
	deviation                                              float64
	retired                                                bool
}

func wrenchSet(o *options) *cobra.Command {
	in := &wrenchChange{}
	command := &cobra.Command{
		Use:   "set WRENCH",
		Short: "Register a wrench or change its description; flags that are left out stay",
		Example: `  ramprow tighten wrench set w1 --title 'Click wrench 2 to 25' --kind setting --range 2-25 --deviation 4 \
      --tool wrench-small --calibrated 2026-03-01 --due 2027-03-01 --certificate LAB-0815`,
	}
	command.RunE = o.run(func(ctx context.Context, s *session, args []string) error {
		wrench, err := s.wrenchOrNew(ctx, inCollection("wrenches", args[0]))
		if err != nil {
			return err
		}
		if err := in.apply(s, wrench, command.Flags().Changed); err != nil {
			return err
		}
		r, err := s.Audit.SetWrench(ctx, &torqueauditv1.SetWrenchRequest{RequestId: s.once(), Wrench: wrench})
		if err != nil {
			return err
		}
		return s.answer(r, r.GetWrench().GetName()+": kept"+repeated(r.GetReceipt()))
	})
	flags := command.Flags()
	flags.StringVar(&in.title, "title", "", "what people call it")
	flags.StringVar(&in.kind, "kind", "", strings.Join(choices[torqueauditv1.WrenchKind](), ", "))
	flags.StringVar(&in.reach, "range", "", "measuring range in newton metres, as in 2-25")
	flags.Float64Var(&in.deviation, "deviation", 0, "permissible deviation in percent of the reading, as on its certificate")
	flags.StringVar(&in.tool, "tool", "", "the catalogue's tool that it is one of")
	flags.StringVar(&in.calibrated, "calibrated", "", "when it was calibrated")
	flags.StringVar(&in.due, "due", "", "when the next calibration is due")
	flags.StringVar(&in.certificate, "certificate", "", "number of its certificate")
	flags.BoolVar(&in.retired, "retired", false, "is not used any more")
	completeFlag(command, "kind", choices[torqueauditv1.WrenchKind]()...)
	return command
}

func (s *session) wrenchOrNew(ctx context.Context, name string) (*torqueauditv1.Wrench, error) {
	r, err := s.Audit.GetWrench(ctx, &torqueauditv1.GetWrenchRequest{Wrench: name, MinRevision: s.atLeast})
	if err != nil && fault.KindOf(err) == fault.NotFound {
		return &torqueauditv1.Wrench{Name: name, Title: number(name)}, nil
	}
	return r.GetWrench(), err
}

func (in *wrenchChange) apply(s *session, w *torqueauditv1.Wrench, given func(string) bool) (err error) {
	for flag, set := range map[string]func() error{
		"title":       func() error { w.Title = in.title; return nil },
		"tool":        func() error { w.Tool = in.tool; return nil },
		"certificate": func() error { w.Certificate = in.certificate; return nil },
		"deviation":   func() error { w.DeviationPercent = in.deviation; return nil },
		"retired":     func() error { w.Retired = in.retired; return nil },
		"kind":        func() error { w.Kind, err = choose[torqueauditv1.WrenchKind]("--kind", in.kind); return err },
		"range":       func() error { w.MinNm, w.MaxNm, err = parseRange(in.reach); return err },
		"calibrated":  func() error { w.CalibratedAt, err = optionalTime("calibrated", in.calibrated, s.now()); return err },
		"due":         func() error { w.CalibrationDue, err = optionalTime("due", in.due, s.now()); return err },
	} {
		if given(flag) {
			if err := set(); err != nil {
				return err
			}
		}
	}
	return nil
}

// parseRange reads 2-25, in newton metres.
func parseRange(text string) (low, high float64, err error) {
	from, to, _ := strings.Cut(text, "-")
	low, okLow := parseFigure(from)
	high, okHigh := parseFigure(to)
	if !okLow || !okHigh || low > high {
		return 0, 0, fmt.Errorf("%q is no range; write newton metres as in 2-25", text)
	}
	return low, high, nil
}

func wrenchCheck(o *options) *cobra.Command {
	request := &torqueauditv1.RecordWrenchCheckRequest{}
	var due string
	command := &cobra.Command{
		Use:     "check WRENCH",
		Short:   "Keep a check on the tester, or a calibration by a laboratory",
		Example: "  ramprow tighten wrench check w1 --target 20 --measured 20.3\n  ramprow tighten wrench check w1 --target 20 --measured 20.1 --calibration --certificate LAB-0816 --due 2027-03-01",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			var err error
			var until *timestamppb.Timestamp
			if until, err = optionalTime("due", due, s.now()); err != nil {
				return err
			}
			request.RequestId, request.Wrench, request.CalibrationDue = s.once(), inCollection("wrenches", args[0]), until
			r, err := s.Audit.RecordWrenchCheck(ctx, request)
			if err != nil {
				return err
			}
			line := fmt.Sprintf("%s: check %s%s", r.GetWrench().GetName(), checkWord(r.GetWrench().GetLastCheck()), repeated(r.GetReceipt()))
			return s.answer(r, append([]string{line}, doubtLine(r.GetLookBack())...)...)
		}),
	}
	flags := command.Flags()
	flags.Float64Var(&request.TargetNm, "target", 0, "set value in newton metres")
	flags.Float64Var(&request.MeasuredNm, "measured", 0, "what the tester showed, in newton metres")
	flags.BoolVar(&request.Calibration, "calibration", false, "by a laboratory, with a certificate")
	flags.StringVar(&request.Certificate, "certificate", "", "number of the certificate")
	flags.StringVar(&due, "due", "", "when the next calibration is due")
	return command
}
