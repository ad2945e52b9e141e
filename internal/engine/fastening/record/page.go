package record

import (
	_ "embed" // the page's template
	"fmt"
	"html/template"
	"strconv"
	"strings"
	"time"
)

//go:embed page.gohtml
var pageText string

// page is what the template sees.
type page struct {
	Record

	All      []line
	Sections []section
	Sum      string
}

// section is a joint with its readings.
type section struct {
	Joint

	Readings []line
}

// line is a reading in print.
type line struct {
	Reading

	Hash string
	// Out is the number of the correction that took it out; 0: none.
	Out uint32
}

// Measured tells whether it is a measurement and no correction.
func (l line) Measured() bool { return l.TakesOut == 0 }

// Departures are the joints that were not proved as written.
func (p page) Departures() []Joint {
	var joints []Joint
	for _, j := range p.Result.Joints {
		if j.Departure != nil {
			joints = append(joints, j)
		}
	}
	return joints
}

// HTML writes the page of a record, with the hashes of its seal. Whatever a
// reading or a name holds is escaped; the page loads nothing and runs nothing.
func HTML(r Record, s *Sealed) (string, error) {
	t, err := template.New("record").Funcs(template.FuncMap{
		"time": clock, "day": day, "figure": figure, "risk": risk, "short": short, "kilonewtons": kilonewtons,
	}).Parse(pageText)
	if err != nil {
		return "", fmt.Errorf("read the page's template: %w", err)
	}
	var b strings.Builder
	if err := t.Execute(&b, pageOf(r, s)); err != nil {
		return "", fmt.Errorf("write the page: %w", err)
	}
	return b.String(), nil
}

func pageOf(r Record, s *Sealed) page {
	p := page{Record: r, Sum: s.Sum}
	out := map[uint32]uint32{}
	for _, reading := range r.Readings {
		if reading.TakesOut != 0 {
			out[reading.TakesOut] = reading.Number
		}
	}
	for i, reading := range r.Readings {
		p.All = append(p.All, line{Reading: reading, Hash: s.Hashes[i], Out: out[reading.Number]})
	}
	for _, j := range r.Result.Joints {
		joint := section{Joint: j}
		for _, l := range p.All {
			if l.Reading.Joint == j.Joint {
				joint.Readings = append(joint.Readings, l)
			}
		}
		p.Sections = append(p.Sections, joint)
	}
	return p
}

// clock writes a time in UTC, which the page says.
func clock(t time.Time) string { return t.UTC().Format("2006-01-02 15:04:05 MST") }

func day(t time.Time) string { return t.UTC().Format("2006-01-02") }

// figure writes a value; nothing where there is none.
func figure(v float64) string {
	if v == 0 {
		return ""
	}
	return strconv.FormatFloat(v, 'g', 6, 64)
}

// kilonewtons writes a force to three digits: more would claim too much.
func kilonewtons(newtons float64) string { return strconv.FormatFloat(newtons/1000, 'g', 3, 64) }

// risk writes a probability in percent, never as none.
func risk(p float64) string {
	if p < 0.00005 {
		return "< 0.01 %"
	}
	return strconv.FormatFloat(100*p, 'f', 2, 64) + " %"
}

func short(hash string) string { return hash[:min(len(hash), 12)] }
