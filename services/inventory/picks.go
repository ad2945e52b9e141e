package inventory

import (
	"slices"

	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// pickOf is a job's kit: what lies on the shelf for it as one walks the bins,
// what comes next, and what is missing still.
func pickOf(doc *inventoryv1.Hold) *inventoryv1.Pick {
	p := &inventoryv1.Pick{Job: doc.GetJob(), Turn: doc.GetTurn(), Bay: doc.GetBay(), StagedAt: doc.GetStagedAt()}
	for _, l := range doc.GetLines() {
		if lacking(l) > 0 {
			p.Missing = append(p.Missing, l)
		}
		if l.GetHeld() > 0 {
			p.Lines = append(p.Lines, l)
		}
	}
	slices.SortStableFunc(p.GetLines(), func(a, b *inventoryv1.HoldLine) int { return compareBins(a.GetBin(), b.GetBin()) })
	for _, l := range p.GetLines() {
		if unpicked(l) > 0 {
			p.Next = l
			break
		}
	}
	return p
}

// unpicked is what lies in its bin for a line.
func unpicked(l *inventoryv1.HoldLine) int64 { return l.GetHeld() - l.GetPicked() }

// straighten makes strays of picked pieces that a line has lost: they are off
// their bin, and nobody has put them back. A kit of which nothing is picked any
// more waits nowhere.
func straighten(doc *inventoryv1.Hold) {
	some := false
	for _, l := range doc.GetLines() {
		if lost := l.GetPicked() - l.GetHeld(); lost > 0 {
			l.Picked -= lost
			l.Stray += lost
		}
		some = some || l.GetPicked() > 0
	}
	if !some {
		doc.StagedAt = ""
	}
}

// strays are the lines of which pieces are to be put back.
func strays(doc *inventoryv1.Hold) []*inventoryv1.HoldLine {
	var lines []*inventoryv1.HoldLine
	for _, l := range doc.GetLines() {
		if l.GetStray() > 0 {
			lines = append(lines, l)
		}
	}
	return lines
}

// straying tells the clerk of them.
func straying(doc *inventoryv1.Hold) []*inventoryv1.PutBack {
	var back []*inventoryv1.PutBack
	for _, l := range strays(doc) {
		back = append(back, &inventoryv1.PutBack{
			Job: doc.GetJob(), Line: l.GetLine(), Part: l.GetPart(), Title: l.GetTitle(), Quantity: l.GetStray(), Bin: l.GetBin(),
			Reason: "picked, and the job does not want it any more", Picked: true,
		})
	}
	return back
}
