package catalogue

import (
	"fmt"
	"slices"

	pb "ramprow/proto/ramprow/catalogue/v1"
)

// causeWithoutSigns finds causes that nothing would ever point to.
func causeWithoutSigns(c *content, found report) {
	for i, cause := range c.message.GetCauses() {
		if len(cause.GetCodes())+len(cause.GetSymptoms()) == 0 {
			found(fmt.Sprintf("causes[%d]", i), "name a code or a symptom that it brings about")
		}
	}
}

// signWithoutCause finds codes and symptoms that no cause explains.
func signWithoutCause(c *content, found report) {
	explained := map[string]bool{}
	for _, ref := range c.references {
		if ref.kind == kindCode || ref.kind == kindSymptom {
			explained[ref.id] = true
		}
	}
	for i, symptom := range c.message.GetSymptoms() {
		if !explained[symptom.GetId()] {
			found(fmt.Sprintf("symptoms[%d]", i), "no cause brings about %q", symptom.GetId())
		}
	}
	for i, code := range c.message.GetCodes() {
		if !explained[code.GetCode()] {
			found(fmt.Sprintf("codes[%d]", i), "no cause brings about %q", code.GetCode())
		}
	}
}

// testPositiveForNothing finds tests whose result tells nothing, because no
// cause makes it more probable than chance does.
func testPositiveForNothing(c *content, found report) {
	for i, test := range c.message.GetTests() {
		tells := func(e *pb.Effect) bool { return e.GetProbability() > test.GetFalsePositive() }
		if !slices.ContainsFunc(test.GetPositive(), tells) {
			found(fmt.Sprintf("tests[%d].positive", i), "no cause makes it positive more often than the %g of cars without", test.GetFalsePositive())
		}
	}
}

// testBelowChance finds causes that would make a test positive less often than
// it is without any: the two numbers cannot both be right.
func testBelowChance(c *content, found report) {
	for i, test := range c.message.GetTests() {
		for j, e := range test.GetPositive() {
			if e.GetProbability() < test.GetFalsePositive() {
				found(fmt.Sprintf("tests[%d].positive[%d].probability", i, j),
					"%q makes it positive in %g of cases, but %g are positive without", e.GetOf(), e.GetProbability(), test.GetFalsePositive())
			}
		}
	}
}
