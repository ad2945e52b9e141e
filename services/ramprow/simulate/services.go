package simulate

import (
	"context"
	"time"

	"google.golang.org/grpc"

	"ramprow/internal/platform/readmodel"
	"ramprow/internal/platform/simulation"
	"ramprow/internal/platform/sitelog"
	"ramprow/services/inventory"
	"ramprow/services/job"
	"ramprow/services/scheduling"
	torqueaudit "ramprow/services/torque_audit"
)

const (
	site       = "farrowby"
	jobLog     = "job"
	stockLog   = "inventory"
	boardLog   = "scheduling"
	tightenLog = "torque-audit"
)

// services are the four as they are, without read models: what a simulated
// caller knows, it knows from answers.
func services() []simulation.Service {
	return []simulation.Service{
		service(job.Machine(), func(r *sitelog.Runner[*job.State], v *readmodel.Views[*job.State], now func() time.Time) registrable {
			return job.NewServer(r, v, now)
		}),
		service(inventory.Machine(), func(r *sitelog.Runner[*inventory.State], v *readmodel.Views[*inventory.State], now func() time.Time) registrable {
			return inventory.NewServer(r, v, now)
		}),
		service(scheduling.Machine(), func(r *sitelog.Runner[*scheduling.State], v *readmodel.Views[*scheduling.State], now func() time.Time) registrable {
			return scheduling.NewServer(r, v, now)
		}),
		service(torqueaudit.Machine(), func(r *sitelog.Runner[*torqueaudit.State], v *readmodel.Views[*torqueaudit.State], now func() time.Time) registrable {
			return torqueaudit.NewServer(r, v, now)
		}),
	}
}

type registrable interface {
	Register(r grpc.ServiceRegistrar)
}

func service[S any](m sitelog.Machine[S],
	server func(*sitelog.Runner[S], *readmodel.Views[S], func() time.Time) registrable,
) simulation.Service {
	return simulation.Service{
		Name: m.Service,
		Start: func(ctx context.Context, log sitelog.Log, o sitelog.Options, r grpc.ServiceRegistrar) (func(), error) {
			runner, err := sitelog.Open(ctx, log, m, o)
			if err != nil {
				return nil, err
			}
			server(runner, nil, o.Now).Register(r)
			return runner.Abandon, nil
		},
	}
}
