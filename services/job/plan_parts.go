package job

import (
	"slices"

	"ramprow/internal/catalogue"
	"ramprow/internal/engine/billing"
	cataloguev1 "ramprow/proto/ramprow/catalogue/v1"
	commonv1 "ramprow/proto/ramprow/common/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// addParts lists what every step takes from the shelf. A step that is done
// keeps the lines that it had, whatever the car has turned out to be since.
func (p *planner) addParts() {
	for _, line := range p.job.Plan.GetParts() {
		if p.job.stepDone(line.GetForStep()) {
			p.plan.Parts = append(p.plan.Parts, line)
		}
	}
	for _, s := range p.plan.GetSteps() {
		if !p.job.stepDone(s.GetId()) {
			for _, use := range p.usesOf(s) {
				p.addUse(s, use)
			}
		}
	}
}

// usesOf gives what a step uses: what a refit renews, what a repair puts in.
func (p *planner) usesOf(s *jobv1.PlannedStep) []*cataloguev1.PartUse {
	switch s.GetKind() {
	case jobv1.PlannedStep_KIND_REFIT:
		uses := slices.Clone(p.catalogue.Operation(s.GetSource()).GetRenews())
		for _, move := range s.GetPieces() {
			if move.GetFate() == cataloguev1.Piece_FATE_RENEW && !p.repairBrings(move.GetPiece()) {
				uses = append(uses, p.catalogue.Piece(move.GetPiece()).GetRenewedBy()...)
			}
		}
		return uses
	case jobv1.PlannedStep_KIND_REPAIR:
		return p.catalogue.Cause(s.GetSource()).GetRepair().GetParts()
	case jobv1.PlannedStep_KIND_UNSPECIFIED, jobv1.PlannedStep_KIND_TAKE_OFF, jobv1.PlannedStep_KIND_ENTER_STATE,
		jobv1.PlannedStep_KIND_LEAVE_STATE, jobv1.PlannedStep_KIND_LOOK:
	}
	return nil
}

// repairBrings reports whether a repair of this plan targets the piece and
// brings its replacement itself, so that it is not taken twice.
func (p *planner) repairBrings(piece string) bool {
	return slices.ContainsFunc(p.causes, func(id string) bool {
		repair := p.catalogue.Cause(id).GetRepair()
		if !slices.Contains(repair.GetTargets(), piece) {
			return false
		}
		renewal := p.catalogue.Piece(piece).GetRenewedBy()
		return slices.ContainsFunc(repair.GetParts(), func(use *cataloguev1.PartUse) bool {
			return slices.ContainsFunc(renewal, func(r *cataloguev1.PartUse) bool { return r.GetPart() == use.GetPart() })
		})
	})
}

// addUse makes a line, or one line for each value while a design is not known.
func (p *planner) addUse(s *jobv1.PlannedStep, use *cataloguev1.PartUse) {
	switch p.facts.Holds(use.GetWhen()) {
	case catalogue.No:
	case catalogue.Yes:
		p.addLine(s, use, "", catalogue.Possible{})
	case catalogue.Maybe:
		feature := p.openFeature(use.GetWhen())
		for _, value := range p.valuesMeeting(feature, use.GetWhen()) {
			p.addLine(s, use, feature, value)
		}
	}
}

// openFeature is the first feature of the conditions that is not settled. Lines
// that hang on several are tied to this one and looked at again when it is found.
func (p *planner) openFeature(when []*cataloguev1.Condition) string {
	for _, c := range when {
		if _, known := p.facts.Known(c.GetFeature()); !known {
			return c.GetFeature()
		}
	}
	return ""
}

func (p *planner) valuesMeeting(feature string, when []*cataloguev1.Condition) []catalogue.Possible {
	var values []catalogue.Possible
	for _, v := range p.facts.Values(feature) {
		meets := !slices.ContainsFunc(when, func(c *cataloguev1.Condition) bool {
			return c.GetFeature() == feature && !slices.Contains(c.GetAnyOf(), v.Value)
		})
		if meets {
			values = append(values, v)
		}
	}
	return values
}

func (p *planner) may(when []*cataloguev1.Condition) bool { return p.facts.Holds(when) != catalogue.No }

func (p *planner) addLine(s *jobv1.PlannedStep, use *cataloguev1.PartUse, feature string, value catalogue.Possible) {
	part := p.catalogue.Part(use.GetPart())
	line := p.lineName(s, use.GetPart(), value.Value)
	if i := slices.IndexFunc(p.plan.GetParts(), func(w *jobv1.PartWanted) bool { return w.GetLine() == line }); i >= 0 {
		p.plan.Parts[i].Quantity += use.GetQuantity()
		p.plan.Parts[i].Price = p.priceOf(part, p.plan.GetParts()[i].GetQuantity())
		return
	}
	p.plan.Parts = append(p.plan.Parts, &jobv1.PartWanted{
		Line: line, Part: use.GetPart(), Title: part.GetTitle(), Quantity: use.GetQuantity(), Unit: part.GetUnit(),
		Feature: feature, Value: value.Value, Probability: value.Share, UsedOnce: part.GetUsedOnce(),
		Price: p.priceOf(part, use.GetQuantity()), ForStep: s.GetId(),
	})
	s.PartLines = append(s.PartLines, line)
}

// lineName is stable over revisions: a line that was for one of several designs
// keeps its name when that design turns out to be the car's, since it is held,
// or issued, under it.
func (p *planner) lineName(s *jobv1.PlannedStep, part, value string) string {
	line := s.GetId() + ":" + part
	if value != "" {
		return line + ":" + value
	}
	for _, l := range p.job.Plan.GetParts() {
		if l.GetForStep() == s.GetId() && l.GetPart() == part && l.GetFeature() == "" {
			return l.GetLine()
		}
	}
	return line
}

func (p *planner) priceOf(part *cataloguev1.Part, quantity int64) *commonv1.Money {
	price := billing.Price{Amount: billing.Amount(part.GetPriceMinorUnits()), Per: part.GetPriceQuantity()}
	net, err := price.Of(quantity)
	if err != nil {
		net = billing.MaxAmount // no authorisation reaches it, so the job asks for a look at the catalogue
	}
	return p.money(int64(net))
}

func (p *planner) money(minor int64) *commonv1.Money {
	return &commonv1.Money{MinorUnits: minor, CurrencyCode: p.catalogue.Message().GetCurrencyCode()}
}
