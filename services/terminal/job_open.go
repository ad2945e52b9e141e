package terminal

import (
	"context"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	jobv1 "ramprow/proto/ramprow/job/v1"
)

// intake is what the flags of `job open` fill.
type intake struct {
	vehicle  jobv1.Vehicle
	customer jobv1.Customer
	built    string
	expected string
	wanted   string
	priority uint32
}

func jobOpen(o *options) *cobra.Command {
	in := &intake{}
	command := &cobra.Command{
		Use:   "open COMPLAINT",
		Short: "Take in a car with its complaint",
		Example: `  ramprow job open 'Shakes at idle' --vin YMR0RN16ZHA004711 --plate 'RP-OR 16' --catalogue marlow-orrin \
      --feature body=hatch --built 2020-03-12 --km 128400 --customer 'Marta Quell' --contact 'by telephone'`,
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			request, err := in.request(s, args[0])
			if err != nil {
				return err
			}
			r, err := s.Job.OpenJob(ctx, request)
			if err != nil {
				return err
			}
			j := r.GetJob()
			return s.answer(r, j.GetName()+": opened for "+j.GetCustomer().GetName()+repeated(r.GetReceipt()), nextLine(nextFor(j)))
		}),
	}
	in.bind(command)
	return command
}

func (in *intake) bind(command *cobra.Command) {
	flags := command.Flags()
	flags.StringVar(&in.vehicle.Vin, "vin", "", "vehicle identification number, 17 characters")
	flags.StringVar(&in.vehicle.Plate, "plate", "", "number plate")
	flags.StringVar(&in.vehicle.Catalogue, "catalogue", "", "catalogue that describes the car, see ramprow catalogue list")
	flags.StringToStringVar(&in.vehicle.Features, "feature", nil, "what is known of the car, as in body=hatch; may be repeated")
	flags.Int64Var(&in.vehicle.OdometerKm, "km", 0, "odometer in kilometres")
	flags.StringVar(&in.built, "built", "", "day on which the car was built, as in 2020-03-12")
	flags.StringVar(&in.customer.Name, "customer", "", "who authorises and pays")
	flags.StringVar(&in.customer.Contact, "contact", "", "how the customer is reached")
	flags.StringVar(&in.customer.Address, "address", "", "the customer's address")
	flags.StringVar(&in.expected, "expected", "", "when the car comes; otherwise it is here")
	flags.StringVar(&in.wanted, "wanted-by", "", "when the customer wants it back")
	flags.Uint32Var(&in.priority, "priority", 0, "0 is usual, up to 9")
	for _, name := range []string{"vin", "catalogue", "customer"} {
		_ = command.MarkFlagRequired(name) // fails only for a flag that is not there
	}
}

func (in *intake) request(s *session, complaint string) (*jobv1.OpenJobRequest, error) {
	now := s.now()
	expected, err := optionalTime("expected", in.expected, now)
	if err != nil {
		return nil, err
	}
	wanted, err := optionalTime("wanted-by", in.wanted, now)
	if err != nil {
		return nil, err
	}
	if in.built != "" {
		day, err := parseDay(in.built, now.UTC()) // a build date is a day, wherever it is typed
		if err != nil {
			return nil, err
		}
		in.vehicle.Built = timestamppb.New(day)
	}
	return &jobv1.OpenJobRequest{
		RequestId: s.once(), Vehicle: &in.vehicle, Customer: &in.customer, Complaint: complaint,
		ExpectedAt: expected, WantedBy: wanted, Priority: in.priority,
	}, nil
}

func jobReceive(o *options) *cobra.Command {
	var km int64
	command := &cobra.Command{
		Use:     "receive JOB",
		Short:   "Note that the car is on the yard",
		Example: "  ramprow job receive 17 --km 128400",
		RunE: o.changeJob(func(ctx context.Context, s *session, job string, _ []string) (jobAnswer, string, error) {
			r, err := s.Job.ReceiveVehicle(ctx, &jobv1.ReceiveVehicleRequest{RequestId: s.once(), Job: job, OdometerKm: km})
			return r, "the car is here", err
		}),
	}
	command.Flags().Int64Var(&km, "km", 0, "odometer in kilometres")
	return command
}

func jobCancel(o *options) *cobra.Command {
	var reason string
	command := &cobra.Command{
		Use:     "cancel JOB",
		Short:   "End a job without invoice and undo what it held",
		Example: "  ramprow job cancel 17 --reason 'customer sells the car'",
		RunE: o.changeJob(func(ctx context.Context, s *session, job string, _ []string) (jobAnswer, string, error) {
			r, err := s.Job.CancelJob(ctx, &jobv1.CancelJobRequest{RequestId: s.once(), Job: job, Reason: reason})
			return r, "cancelled; parts and bay go free", err
		}),
	}
	requireText(command, &reason, "reason", "why")
	return command
}

// requireText binds a flag that must be given.
func requireText(command *cobra.Command, target *string, name, meaning string) {
	command.Flags().StringVar(target, name, "", meaning)
	_ = command.MarkFlagRequired(name) // fails only for a flag that is not there
}
