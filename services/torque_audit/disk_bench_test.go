package torqueaudit

import (
	"context"
	"fmt"
	"sync/atomic"
	"testing"

	"ramprow/internal/platform/embedded"
	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/jetstream"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

// technicians tighten at once, each their own car; processors times this many.
const technicians = 16

// BenchmarkReadingsToDisk sends readings through gRPC until each is judged and
// synced to disk, and in the same run as many bare messages of the size of such
// a commit to the same broker, one at a time for each caller, as a reading goes.
func BenchmarkReadingsToDisk(b *testing.B) {
	server, err := embedded.StartNATS(b.TempDir(), embedded.NATSOptions{})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { embedded.StopNATS(server) })
	log, err := jetstream.Connect(jetstream.Options{InProcess: server})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(log.Close)
	rig := newBenchOver(b, log)
	_, err = rig.client.SetWrench(rig.ctx, &pb.SetWrenchRequest{RequestId: "wrench-0001", Wrench: torqueAngleWrench()})
	rig.must(err)
	const cars = 200
	for n := 1; n <= cars; n++ {
		wide := cover()
		wide.Fasteners, wide.Order, wide.ForStep = 200, nil, ""
		for f := uint32(1); f <= 200; f++ {
			wide.Order = append(wide.Order, f)
		}
		c := confirmed(1, wide)
		c.Job = fmt.Sprintf("jobs/%d", n)
		rig.say(c)
	}
	var last uint32
	for last < cars {
		page, err := rig.client.ListSheets(rig.ctx, &pb.ListSheetsRequest{PageSize: 500})
		rig.must(err)
		last = uint32(len(page.GetSheets()))
	}
	b.Run("readings", func(b *testing.B) { readings(b, rig, cars) })
	record, err := log.Last(rig.ctx, sitelog.Subject{Service: Service, Site: "north"})
	rig.must(err)
	b.Run("broker", func(b *testing.B) {
		raw, err := log.NewRawPublisher(rig.ctx, min(len(record.Data), 2000))
		rig.must(err)
		b.SetParallelism(technicians)
		b.RunParallel(func(p *testing.PB) {
			for p.Next() {
				if err := raw.Publish(rig.ctx); err != nil {
					b.Error(err)
				}
			}
		})
		b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "messages/s")
		rig.must(raw.Close(context.WithoutCancel(rig.ctx)))
	})
}

var benchIDs, benchCars atomic.Int64

// readings has each caller tighten one car after another, bolt by bolt.
func readings(b *testing.B, rig *bench, cars int64) {
	b.SetParallelism(technicians)
	b.RunParallel(func(p *testing.PB) {
		car, bolt := benchCars.Add(1), uint32(0)
		for p.Next() {
			if bolt++; bolt > 200 {
				car, bolt = benchCars.Add(1), 1
			}
			_, err := rig.client.PostReading(rig.ctx, &pb.PostReadingRequest{
				RequestId: fmt.Sprintf("reading-%d", benchIDs.Add(1)), Job: fmt.Sprintf("jobs/%d", car%cars+1), Joint: "cover",
				Fastener: bolt, Wrench: bigWrench, TorqueNm: 10,
			})
			if err != nil {
				b.Error(err)
				return
			}
		}
	})
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "readings/s")
}
