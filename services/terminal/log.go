package terminal

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	logv1 "ramprow/proto/ramprow/log/v1"
)

func logCommands() *cobra.Command {
	return tree("log", "A service's log, and events that it could not handle (for the owner)",
		"  ramprow log describe\n  ramprow log parked --service inventory",
		logDescribe, logParked, logRelease, logDrop,
	)
}

func logDescribe(o *options) *cobra.Command {
	var service string
	command := &cobra.Command{
		Use:     "describe",
		Short:   "Tell how far each log goes, how far it follows others, and what is parked",
		Example: "  ramprow log describe\n  ramprow log describe --service job",
		RunE: o.run(func(ctx context.Context, s *session, _ []string) error {
			services := RoleNames()
			if service != "" {
				services = []string{service}
			}
			var rows []*logv1.DescribeLogResponse
			for _, name := range services {
				client, err := s.log(name)
				if err != nil {
					return err
				}
				r, err := client.DescribeLog(ctx, &logv1.DescribeLogRequest{})
				if err != nil {
					return fmt.Errorf("%s: %w", name, err)
				}
				rows = append(rows, r)
			}
			return showList(s, rows, "", []column[*logv1.DescribeLogResponse]{
				left("SERVICE", (*logv1.DescribeLogResponse).GetService),
				left("SITE", (*logv1.DescribeLogResponse).GetSite),
				figure("COMMITS", func(r *logv1.DescribeLogResponse) string { return figures(r.GetCommits()) }),
				figure("REVISION", func(r *logv1.DescribeLogResponse) string { return figures(r.GetRevision()) }),
				left("HAS READ", func(r *logv1.DescribeLogResponse) string { return positions(r.GetPositions()) }),
				figure("PARKED", func(r *logv1.DescribeLogResponse) string { return figures(r.GetParked()) }),
			})
		}),
	}
	serviceFlag(command, &service, "only this service: ")
	return command
}

func positions(read map[string]uint64) string {
	var words []string
	for _, service := range slices.Sorted(maps.Keys(read)) {
		words = append(words, fmt.Sprintf("%s to %d", service, read[service]))
	}
	return strings.Join(words, ", ")
}

func serviceFlag(command *cobra.Command, target *string, meaning string) {
	command.Flags().StringVar(target, "service", "", meaning+strings.Join(RoleNames(), ", "))
	completeFlag(command, "service", RoleNames()...)
}

func (s *session) log(service string) (logv1.LogServiceClient, error) {
	client, ok := s.Logs[service]
	if !ok {
		return nil, fmt.Errorf("--service %q is unknown; use one of %s", service, strings.Join(RoleNames(), ", "))
	}
	return client, nil
}

func logParked(o *options) *cobra.Command {
	var service string
	var limit int
	command := &cobra.Command{
		Use:     "parked",
		Short:   "List events that a service could not handle",
		Example: "  ramprow log parked --service inventory",
		RunE: o.run(func(ctx context.Context, s *session, _ []string) error {
			client, err := s.log(service)
			if err != nil {
				return err
			}
			rows, err := collect(s, limit, func(size int32, token string) ([]*logv1.ParkedEvent, string, error) {
				r, err := client.ListParked(ctx, &logv1.ListParkedRequest{PageSize: size, PageToken: token})
				return r.GetParked(), r.GetNextPageToken(), err
			})
			if err != nil {
				return err
			}
			return showList(s, rows, "Nothing is parked: every event was handled.", []column[*logv1.ParkedEvent]{
				left("EVENT", (*logv1.ParkedEvent).GetId),
				left("FROM", func(e *logv1.ParkedEvent) string { return fmt.Sprintf("%s %d", e.GetService(), e.GetSequence()) }),
				left("WHAT", func(e *logv1.ParkedEvent) string { return string(e.GetEvent().MessageName().Name()) }),
				left("SINCE", func(e *logv1.ParkedEvent) string { return at(e.GetParkedAt(), s.now()) }),
				figure("TRIES", func(e *logv1.ParkedEvent) string { return figures(e.GetAttempts()) }),
				left("WHY", (*logv1.ParkedEvent).GetError),
			})
		}),
	}
	serviceFlag(command, &service, "the service: ")
	_ = command.MarkFlagRequired("service") // fails only for a flag that is not there
	limitFlag(command, &limit)
	return command
}

func logRelease(o *options) *cobra.Command {
	var service string
	command := &cobra.Command{
		Use:     "release EVENT",
		Short:   "Try a parked event again",
		Example: "  ramprow log release job-812-0-1 --service inventory",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			client, err := s.log(service)
			if err != nil {
				return err
			}
			r, err := client.ReleaseParked(ctx, &logv1.ReleaseParkedRequest{RequestId: s.once(), Id: args[0]})
			if err != nil {
				return err
			}
			if !r.GetHandled() {
				return s.answer(r, args[0]+" stays parked: "+r.GetError())
			}
			return s.answer(r, args[0]+" is handled"+repeated(r.GetReceipt()))
		}),
	}
	serviceFlag(command, &service, "the service that parked it: ")
	_ = command.MarkFlagRequired("service") // fails only for a flag that is not there
	return command
}

func logDrop(o *options) *cobra.Command {
	var service, reason string
	command := &cobra.Command{
		Use:     "drop EVENT",
		Short:   "Give a parked event up, with a reason that is kept",
		Example: "  ramprow log drop job-812-0-1 --service inventory --reason 'the part was issued by hand'",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			client, err := s.log(service)
			if err != nil {
				return err
			}
			r, err := client.DropParked(ctx, &logv1.DropParkedRequest{RequestId: s.once(), Id: args[0], Reason: reason})
			if err != nil {
				return err
			}
			return s.answer(r, args[0]+" is given up"+repeated(r.GetReceipt()))
		}),
	}
	serviceFlag(command, &service, "the service that parked it: ")
	_ = command.MarkFlagRequired("service") // fails only for a flag that is not there
	requireText(command, &reason, "reason", "why")
	return command
}
