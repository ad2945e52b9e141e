package curve

import (
	"fmt"
	"html"
	"io"
	"math"
	"strings"
)

const (
	plotWidth, plotHeight = 720.0, 360.0
	plotMargin            = 44.0
	plotColumns           = 600 // points drawn at most, twice: least and most of each column
)

// plot maps the curve to the picture.
type plot struct{ from, perDegree, perNM float64 }

func (p plot) x(angle float64) float64  { return plotMargin + (angle-p.from)*p.perDegree }
func (p plot) y(torque float64) float64 { return plotHeight - plotMargin - torque*p.perNM }

// WriteSVG draws the curve with what the report found on it. Any title is
// escaped. Samples must be those of the report.
func WriteSVG(w io.Writer, samples []Sample, r Report, title string) error {
	if err := validate(samples); err != nil {
		return err
	}
	p := plot{
		from:      samples[0].Angle,
		perDegree: (plotWidth - 2*plotMargin) / math.Max(r.End.Angle-samples[0].Angle, 1e-9),
		perNM:     (plotHeight - 2*plotMargin) / math.Max(r.Peak.Torque, 1e-9),
	}
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %g %g" role="img"><title>%s</title>`, plotWidth, plotHeight, html.EscapeString(title))
	fmt.Fprintf(&b, `<path d="M%g %gV%gH%g" fill="none" stroke="#444"/>`, plotMargin, plotMargin, plotHeight-plotMargin, plotWidth-plotMargin)
	fmt.Fprintf(&b, `<text x="%g" y="%g" font-size="12" text-anchor="end">%.4g°</text>`, plotWidth-plotMargin, plotHeight-plotMargin+16, r.End.Angle)
	fmt.Fprintf(&b, `<text x="%g" y="%g" font-size="12">%.4g N·m</text>`, plotMargin, plotMargin-6, r.Peak.Torque)
	fmt.Fprintf(&b, `<path d="%s" fill="none" stroke="#06c" stroke-width="1.5"/>`, p.trace(samples))
	if line := r.Elastic; line != nil {
		top := line.Gradient * (line.To - line.Snug)
		fmt.Fprintf(&b, `<path d="M%.1f %.1fL%.1f %.1f" stroke="#c60" stroke-dasharray="4 3"/>`, p.x(line.Snug), p.y(0), p.x(line.To), p.y(top))
		p.mark(&b, Point{line.Snug, 0}, "snug")
	}
	if r.Yield != nil {
		p.mark(&b, *r.Yield, "yield")
	}
	if r.Offset != nil {
		p.mark(&b, *r.Offset, "offset yield")
	}
	b.WriteString("</svg>\n")
	_, err := io.WriteString(w, b.String())
	return err
}

func (p plot) mark(b *strings.Builder, at Point, name string) {
	fmt.Fprintf(b, `<circle cx="%.1f" cy="%.1f" r="4" fill="#c00"/><text x="%.1f" y="%.1f" font-size="12">%s %.4g°</text>`,
		p.x(at.Angle), p.y(at.Torque), p.x(at.Angle)+6, p.y(at.Torque)-6, name, at.Angle)
}

// trace draws the least and the most of every column, so that nothing that
// stands out is lost however many samples there are.
func (p plot) trace(samples []Sample) string {
	var b strings.Builder
	step := max(1, len(samples)/plotColumns)
	for i := 0; i < len(samples); i += step {
		low, high := samples[i], samples[i]
		for _, s := range samples[i:min(i+step, len(samples))] {
			if s.Torque < low.Torque {
				low = s
			}
			if s.Torque > high.Torque {
				high = s
			}
		}
		if low.Angle > high.Angle {
			low, high = high, low
		}
		command := "L"
		if i == 0 {
			command = "M"
		}
		fmt.Fprintf(&b, "%s%.1f %.1fL%.1f %.1f", command, p.x(low.Angle), p.y(low.Torque), p.x(high.Angle), p.y(high.Torque))
	}
	return b.String()
}
