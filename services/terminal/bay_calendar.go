package terminal

import (
	"cmp"
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/baycalendar"
	"ramprow/internal/platform/identity"
	commonv1 "ramprow/proto/ramprow/common/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

func bayCalendar(o *options) *cobra.Command {
	var day, bay, who string
	var days int
	in := &calendarAddress{}
	command := &cobra.Command{
		Use:   "calendar",
		Short: "Write the bookings of a bay or a person as an iCalendar file",
		Long: "Writes iCalendar (RFC 5545) that calendar programs import or subscribe to. A booking keeps its\n" +
			"identity, so a newer file moves it rather than adding another. Begun and pinned ones are\n" +
			"confirmed, the others tentative.\n\n" +
			"With --url it prints an address instead, at which the desk serves the same as long as nobody renews\n" +
			"it. Whoever has the address can read that calendar, and nothing else; it tells job numbers and times,\n" +
			"but no titles. It needs the private token key of the workshop. --renew makes all addresses invalid\n" +
			"that were given out for it before, and prints the new one; retiring the person or bay ends it.",
		Example: "  ramprow bay calendar --bay 2 > bay-2.ics\n  ramprow bay calendar --who anna --days 14 > anna.ics\n" +
			"  ramprow bay calendar --who anna --url --desk https://desk.example\n  ramprow bay calendar --who anna --renew",
		RunE: o.run(func(ctx context.Context, s *session, _ []string) error {
			if bay != "" && who != "" {
				return errors.New("a calendar is of one bay or of one person; give --bay or --who")
			}
			if in.url || in.renew {
				token, err := o.callerToken()
				if err != nil {
					return err
				}
				return in.show(ctx, s, token, cmp.Or(inCollection("bays", bay), inCollection("people", who)), cmp.Or(in.key, KeyFile(o.dir())))
			}
			from, err := parseDay(day, s.now())
			if err != nil {
				return fmt.Errorf("--day: %w", err)
			}
			if days < 1 || days > 366 {
				return fmt.Errorf("--days %d cannot be written; use 1 to 366", days)
			}
			r, err := s.Scheduling.GetBoard(ctx, &schedulingv1.GetBoardRequest{
				When:        &commonv1.Interval{Start: timestamppb.New(from), End: timestamppb.New(from.AddDate(0, 0, days))},
				MinRevision: s.atLeast,
			})
			if err != nil {
				return err
			}
			c := baycalendar.Of(r.GetLanes(), inCollection("bays", bay), inCollection("people", who))
			c.Stamp = s.now()
			return c.Write(s.out)
		}),
	}
	flags := command.Flags()
	flags.StringVar(&bay, "bay", "", "only this bay's, as in 2 or bays/2")
	flags.StringVar(&who, "who", "", "only this person's, as in anna or people/anna")
	flags.StringVar(&day, "day", "today", "today, tomorrow or 2026-07-01")
	flags.IntVar(&days, "days", 7, "so many days from there")
	flags.BoolVar(&in.url, "url", false, "print the address at which calendar programs subscribe to it")
	flags.BoolVar(&in.renew, "renew", false, "make older addresses invalid and print a new one")
	flags.StringVar(&in.desk, "desk", "http://127.0.0.1:7100", "for the address: where the desk is reached")
	flags.StringVar(&in.key, "token-key", "", "for the address: PEM file with the private token key (otherwise the data folder's)")
	flags.DurationVar(&in.life, "life", longestAddress, "for the address: how long it is good for")
	return command
}

// longestAddress is how long the address of a calendar can be good for.
const longestAddress = 366 * 24 * time.Hour

// calendarAddress is what the flags of `bay calendar --url` fill.
type calendarAddress struct {
	url, renew bool
	desk, key  string
	life       time.Duration
}

func (in *calendarAddress) show(ctx context.Context, s *session, callerToken, resource, keyFile string) error {
	if resource == "" {
		return errors.New("an address is of one bay or of one person; give --bay or --who")
	}
	if in.life <= 0 || in.life > longestAddress {
		return fmt.Errorf("--life %s is out of range; use more than 0 and at most %s", in.life, longestAddress)
	}
	key, err := identity.LoadKey(keyFile)
	if err != nil {
		return err
	}
	verifier, err := identity.NewVerifier(identity.VerifierConfig{Keys: []ed25519.PublicKey{key.Public()}, Now: s.now})
	if err != nil {
		return err
	}
	caller, err := verifier.Verify(callerToken)
	if err != nil {
		return fmt.Errorf("the key in %s did not sign your token, so the workshop would not believe an address by it: %w", keyFile, err)
	}
	r, err := in.resource(ctx, s, resource)
	if err != nil {
		return err
	}
	id := identity.ForCalendar(caller.Site, resource, r.GetCalendar())
	token, err := identity.NewSigner(identity.SignerConfig{Key: key}).Issue(id, in.life, s.now())
	if err != nil {
		return err
	}
	return s.say("%s", baycalendar.Address(in.desk, token))
}

func (in *calendarAddress) resource(ctx context.Context, s *session, name string) (*schedulingv1.Resource, error) {
	if in.renew {
		r, err := s.Scheduling.RenewCalendar(ctx, &schedulingv1.RenewCalendarRequest{RequestId: s.once(), Resource: name})
		return r.GetResource(), err
	}
	r, err := s.Scheduling.GetCalendar(ctx, &schedulingv1.GetCalendarRequest{Resource: name, MinRevision: s.atLeast})
	return r.GetResource(), err
}
