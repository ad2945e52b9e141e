package desk

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	"golang.org/x/text/currency"
	"golang.org/x/text/message"
	"golang.org/x/text/number"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	commonv1 "ramprow/proto/ramprow/common/v1"
)

// clock writes a time of day in the workshop's zone, with the day if it is another one than now's.
func (d *Desk) clock(at *timestamppb.Timestamp) string {
	if at == nil {
		return ""
	}
	return d.clockTime(at.AsTime())
}

func (d *Desk) clockTime(at time.Time) string {
	at, now := at.In(d.Zone), d.Now().In(d.Zone)
	if at.Format(time.DateOnly) == now.Format(time.DateOnly) {
		return at.Format("15:04")
	}
	return d.words.date(at, ".short") + " " + at.Format("15:04")
}

// day writes a day in the workshop's zone.
func (d *Desk) day(at time.Time) string { return d.words.date(at.In(d.Zone), "") }

// fieldTime writes a time as a datetime-local field wants it.
func (d *Desk) fieldTime(at time.Time) string { return at.In(d.Zone).Format("2006-01-02T15:04") }

// lasting writes a duration as people say it: 45 min, 3 h 20 min.
func (d *Desk) lasting(length *durationpb.Duration) string {
	minutes := int(length.AsDuration().Round(time.Minute) / time.Minute)
	if minutes < 60 {
		return d.words.say("span.minutes", minutes)
	}
	if minutes%60 == 0 {
		return d.words.say("span.hours", minutes/60)
	}
	return d.words.say("span.both", minutes/60, minutes%60)
}

// money writes an amount in the desk's language.
func (d *Desk) money(m *commonv1.Money) string {
	if m == nil {
		return ""
	}
	unit, err := currency.ParseISO(m.GetCurrencyCode())
	if err != nil {
		return strconv.FormatInt(m.GetMinorUnits(), 10) + " " + m.GetCurrencyCode()
	}
	digits, _ := currency.Standard.Rounding(unit)
	return d.decimal(m.GetMinorUnits(), digits) + " " + unit.String()
}

// amount writes minor units of a currency; without one nothing is known.
func (d *Desk) amount(units int64, code string) string {
	if code == "" {
		return "–"
	}
	return d.money(&commonv1.Money{MinorUnits: units, CurrencyCode: code})
}

// decimal writes minor units exactly: the whole part is grouped by the language,
// and nothing passes through floating point.
func (d *Desk) decimal(units int64, digits int) string {
	sign := ""
	if units < 0 {
		sign, units = "-", -units
	}
	power := int64(1)
	for range digits {
		power *= 10
	}
	p := message.NewPrinter(d.Language)
	text := sign + p.Sprint(number.Decimal(units/power))
	if digits == 0 {
		return text
	}
	point := strings.Trim(p.Sprint(number.Decimal(0.5, number.MinFractionDigits(1))), "05")
	return text + point + fmt.Sprintf("%0*d", digits, units%power)
}

// fixed writes a number with so many decimals in the desk's language.
func (d *Desk) fixed(x float64, digits int) string {
	return message.NewPrinter(d.Language).Sprint(number.Decimal(x, number.Scale(digits)))
}

// quantity writes an amount of a part with its unit.
func (d *Desk) quantity(n int64, unit commonv1.Unit) string {
	text := message.NewPrinter(d.Language).Sprint(number.Decimal(n))
	if unit == commonv1.Unit_UNIT_PIECE || unit == commonv1.Unit_UNIT_UNSPECIFIED {
		return text
	}
	return text + " " + d.words.enum(unit)
}

// last gives what stands behind the last slash of a name, as 3 in bays/3.
func last(name string) string { return name[strings.LastIndex(name, "/")+1:] }

var bareName = regexp.MustCompile(`\b(bays|people|jobs)/([a-z0-9-]+)`)

// plain puts words in place of the names of bays, people and jobs in a sentence of a service.
func (d *Desk) plain(text string) string {
	return bareName.ReplaceAllStringFunc(text, func(name string) string {
		switch kind, id, _ := strings.Cut(name, "/"); kind {
		case "bays":
			return d.words.say("bay", id)
		case "jobs":
			return d.words.say("job", id)
		default:
			return id
		}
	})
}
