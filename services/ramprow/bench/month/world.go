package month

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"ramprow/internal/engine/planner"
)

const (
	// tick is how finely time passes.
	tick = 5 * time.Minute
	// workdays of the month in which cars come, and spare ones in which the rest is finished.
	workdays, sparedays = 22, 10
	// carsPerDay keep five bays and six people busy, without drowning them.
	carsPerDay = 7
	z80        = 0.8416212335729143
)

// monday is when every month begins.
var monday = time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC)

// car is one job: what is known of it, and what will happen.
type car struct {
	name      string
	called    time.Time // when it is booked
	expected  time.Time
	arrives   time.Time
	due       time.Time
	p50, p80  time.Duration
	effort    time.Duration // what it takes in truth, findings included
	found     time.Duration // of that, what is only seen halfway
	kinds     []string
	skills    []string
	partsEta  time.Time // zero: they are there
	partsCome time.Time
	untilPart time.Duration // work that can be done without them
}

// world is a workshop and its month.
type world struct {
	bays   []planner.Bay
	people []planner.Person
	cars   []car
	// ill are the absences, known from their first morning on.
	ill []absence
}

type absence struct {
	person int
	when   planner.Interval
}

// draw makes a month.
func draw(seed uint64) *world {
	r := rand.New(rand.NewPCG(seed, workdays))
	w := &world{}
	for i, kind := range []string{"lift", "lift", "lift", "pit", "flat"} {
		w.bays = append(w.bays, planner.Bay{Name: fmt.Sprintf("bays/%d", i+1), Kind: kind})
	}
	for i := range 6 {
		h := planner.Person{Name: fmt.Sprintf("people/%d", i+1), Skills: []planner.Skill{{Name: "engine"}}}
		if i < 2 {
			h.Skills = append(h.Skills, planner.Skill{Name: "cold"})
		}
		for day := time.Monday; day <= time.Friday; day++ {
			h.Calendar.Shifts = append(h.Calendar.Shifts, shifts(day)...)
		}
		w.people = append(w.people, h)
	}
	for d := range workdays + sparedays {
		for i := range w.people {
			if r.IntN(50) == 0 {
				w.ill = append(w.ill, absence{i, planner.Interval{Start: day(d).Add(8 * time.Hour), End: day(d + 1 + r.IntN(3))}})
			}
		}
	}
	for d := range workdays {
		for range carsPerDay {
			w.cars = append(w.cars, drawCar(r, len(w.cars), d))
		}
	}
	return w
}

// shifts are everybody's on a day.
func shifts(day time.Weekday) []planner.Shift {
	return []planner.Shift{{Weekday: day, From: 8 * 60, To: 12 * 60}, {Weekday: day, From: 12*60 + 30, To: 17 * 60}}
}

func drawCar(r *rand.Rand, n, d int) car {
	c := car{name: fmt.Sprintf("jobs/%d", n+1), p50: time.Duration(60+r.IntN(36)*10) * time.Minute}
	c.p80 = time.Duration(float64(c.p50) * (1.15 + 0.4*r.Float64())).Round(tick)
	c.effort = time.Duration(float64(c.p50) * math.Exp(c.sigma()*r.NormFloat64())).Round(tick)
	if r.IntN(7) == 0 { // one in seven shows more work once it is open
		c.found = (c.effort / 2).Round(tick)
		c.effort += c.found
	}
	c.expected = day(d).Add(8*time.Hour + time.Duration(r.IntN(15))*30*time.Minute)
	c.arrives = c.expected
	if r.IntN(6) == 0 { // one in six comes late
		c.arrives = c.expected.Add(time.Duration(1+r.IntN(5)) * time.Hour)
	}
	c.called = day(max(0, d-1-r.IntN(4))).Add(8 * time.Hour)
	c.due = day(d + 1 + r.IntN(3)).Add(17 * time.Hour)
	c.kinds = [][]string{{"lift"}, {"lift"}, {"lift", "pit"}, {"lift", "flat"}, nil}[r.IntN(5)]
	c.skills = []string{[]string{"engine", "engine", "engine", "cold"}[r.IntN(4)]}
	if r.IntN(4) == 0 { // one in four needs parts that are not there
		c.partsEta = day(d + r.IntN(3)).Add(10 * time.Hour)
		c.partsCome = c.partsEta
		if r.IntN(5) == 0 { // one in five of these deliveries is a day late
			c.partsCome = c.partsEta.AddDate(0, 0, 1)
		}
		c.untilPart = (c.effort / 3).Round(tick)
		if last := c.partsEta; c.due.Before(last.Add(31 * time.Hour)) { // nobody promises a car before its parts are in
			c.due = time.Date(last.Year(), last.Month(), last.Day()+1, 17, 0, 0, 0, time.UTC)
		}
	}
	return c
}

// sigma is of the logarithm of what such work takes.
func (c *car) sigma() float64 { return math.Log(float64(c.p80)/float64(c.p50)) / z80 }

// mean is what such work takes on average, of a log-normal duration.
func (c *car) mean() time.Duration {
	return time.Duration(float64(c.p50) * math.Exp(c.sigma()*c.sigma()/2)).Round(tick)
}

// day is midnight of the nth working day.
func day(n int) time.Time { return monday.AddDate(0, 0, n/5*7+n%5) }
