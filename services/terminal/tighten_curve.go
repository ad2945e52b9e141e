package terminal

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"ramprow/internal/engine/fastening/curve"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

// curveOf says of which fastener a curve is.
type curveOf struct {
	job, joint, wrench string
	fastener, stage    uint32
}

func tightenCurve(o *options) *cobra.Command {
	var picture string
	var window, length, pitch float64
	of := &curveOf{}
	command := &cobra.Command{
		Use:   "curve FILE",
		Short: "Read a tightening curve from CSV: snug, gradient, yield, a bad thread; plot it, and keep it with a job",
		Long: `Read a tightening curve from CSV, lines of degrees and newton metres as in 12.5,8.3, and say what it shows.
Needs no server, unless --job keeps it in the tightening audit.

Snug and yield are approximations, even for the tool that tightened; what is not seen is said.`,
		Example: "  ramprow tighten curve head-3.csv --svg head-3.svg\n" +
			"  ramprow tighten curve head-3.csv --job 17 --joint head --fastener 3 --stage 2 --wrench a1",
		RunE: func(command *cobra.Command, args []string) error {
			samples, err := readCurve(args[0])
			if err != nil {
				return err
			}
			settings := curve.Settings{Window: window}
			if length > 0 && pitch > 0 {
				settings.Offset = curve.OffsetFor(length, pitch)
			}
			report, err := curve.Analyse(samples, settings)
			if err != nil {
				return fmt.Errorf("%s: %w", args[0], err)
			}
			if picture != "" {
				if err := plotCurve(picture, samples, report, filepath.Base(args[0])); err != nil {
					return err
				}
			}
			if of.job != "" {
				return o.run(func(ctx context.Context, s *session, _ []string) error { return s.keepCurve(ctx, of, samples) })(command, args)
			}
			_, err = fmt.Fprintf(command.OutOrStdout(), "%s: %s\n%s\n", args[0], plural(len(samples), "sample"), strings.Join(report.Remarks(), "\n"))
			return err
		},
	}
	flags := command.Flags()
	flags.StringVar(&picture, "svg", "", "draw it with its marks into this file")
	flags.Float64Var(&window, "window", 0, "degrees over which a slope is taken; otherwise 5")
	flags.Float64Var(&length, "clamp-length", 0, "millimetres between head and thread, for the 0.2 % offset; with --pitch")
	flags.Float64Var(&pitch, "pitch", 0, "millimetres")
	flags.StringVar(&of.job, "job", "", "keep it in this job's audit")
	flags.StringVar(&of.joint, "joint", "", "the joint")
	flags.Uint32Var(&of.fastener, "fastener", 0, "the fastener")
	flags.Uint32Var(&of.stage, "stage", 0, "the stage, from 1")
	flags.StringVar(&of.wrench, "wrench", "", "the wrench that measured it")
	command.MarkFlagsRequiredTogether("job", "joint", "fastener", "wrench")
	return command
}

func readCurve(name string) ([]curve.Sample, error) {
	file, err := os.Open(name) //nolint:gosec // the caller names it
	if err != nil {
		return nil, fmt.Errorf("read the curve: %w", err)
	}
	samples, err := curve.ReadCSV(file)
	if err = errors.Join(err, file.Close()); err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return samples, nil
}

func plotCurve(name string, samples []curve.Sample, r curve.Report, title string) error {
	file, err := os.Create(name) //nolint:gosec // the caller names it
	if err != nil {
		return fmt.Errorf("draw the curve: %w", err)
	}
	if err := errors.Join(curve.WriteSVG(file, samples, r, title), file.Close()); err != nil {
		return fmt.Errorf("draw the curve: %w", err)
	}
	return nil
}

// curvePiece is how many samples go in one message.
const curvePiece = 1000

// keepCurve sends a curve piece by piece, as a tool would.
func (s *session) keepCurve(ctx context.Context, of *curveOf, samples []curve.Sample) error {
	job, err := jobName(of.job)
	if err != nil {
		return err
	}
	stream, err := s.Audit.RecordCurve(ctx)
	if err != nil {
		return err
	}
	message := &torqueauditv1.RecordCurveRequest{
		RequestId: s.once(), Job: job, Joint: of.joint, Fastener: of.fastener, Stage: of.stage, Wrench: inCollection("wrenches", of.wrench),
	}
	for len(samples) > 0 {
		n := min(curvePiece, len(samples))
		for _, p := range samples[:n] {
			message.AngleDeg, message.TorqueNm = append(message.AngleDeg, p.Angle), append(message.TorqueNm, p.Torque)
		}
		if err := stream.Send(message); errors.Is(err, io.EOF) {
			break // the server has an answer already, and it is an error
		} else if err != nil {
			return err
		}
		samples, message = samples[n:], &torqueauditv1.RecordCurveRequest{}
	}
	r, err := stream.CloseAndRecv()
	if err != nil {
		return err
	}
	line := fmt.Sprintf("%s %d: %s kept%s", r.GetCurve().GetJoint(), r.GetCurve().GetFastener(), plural(int(r.GetCurve().GetSamples()), "sample"), repeated(r.GetReceipt()))
	return s.answer(r, append([]string{line}, r.GetCurve().GetRemarks()...)...)
}
