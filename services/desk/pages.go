package desk

import (
	"embed"
	"fmt"
	"html/template"
	"path"
	"strings"

	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

//go:embed pages/*.html
var pageFiles embed.FS

// parsePages makes each page: its own file within the frame and the pieces that several use.
func (d *Desk) parsePages() (map[string]*template.Template, error) {
	files, err := pageFiles.ReadDir("pages")
	if err != nil {
		return nil, fmt.Errorf("read the pages: %w", err)
	}
	pages := map[string]*template.Template{}
	for _, file := range files {
		name := strings.TrimSuffix(file.Name(), path.Ext(file.Name()))
		if name == "frame" || name == "pieces" {
			continue
		}
		page, err := template.New(name).Funcs(d.functions()).ParseFS(pageFiles, "pages/frame.html", "pages/pieces.html", "pages/"+file.Name())
		if err != nil {
			return nil, fmt.Errorf("read the page %s: %w", name, err)
		}
		pages[name] = page
	}
	return pages, nil
}

// functions are what pages may call.
func (d *Desk) functions() template.FuncMap {
	return template.FuncMap{
		"t":        d.words.say,
		"enum":     d.words.enum,
		"clock":    d.clock,
		"at":       d.clockTime,
		"day":      d.day,
		"field":    d.fieldTime,
		"span":     d.lasting,
		"plain":    d.plain,
		"money":    d.money,
		"amount":   d.amount,
		"quantity": d.quantity,
		"percent":  d.percent,
		"contains": contains,
		"last":     last,
		"asset":    d.asset,
		"request":  newRequestID,
		"now":      func() string { return d.Now().In(d.Zone).Format("2006-01-02 15:04") },
		"add":      add, "sub": func(a, b int64) int64 { return a - b }, "clip": clip, "fits": fits, "laneTop": laneTop, "boardHeight": boardHeight,
		"fixed": d.fixed, "proportion": d.proportion, "share": d.shareOf, "bars": barsHeight, "signed": d.signedSpan, "dayshort": d.dayShort,
		"took": took, "fallHeight": fallHeight,
		"stateClass": stateClass, "barLine": d.barLine,
	}
}

// The board's measures, in its own units.
const (
	laneHeight = 66
	boardHead  = 24
	boardWide  = 9 // units of a letter
)

func laneTop(i int) int { return boardHead + i*laneHeight }

// boardHeight of so many lanes.
func boardHeight(lanes int) int { return boardHead + lanes*laneHeight }

// fits gives how many letters a bar holds.
func fits(width int) int { return max(0, (width-12)/boardWide) }

// clip shortens a text to so many letters.
func clip(text string, letters int) string {
	runes := []rune(text)
	if len(runes) <= letters {
		return text
	}
	if letters < 2 {
		return ""
	}
	return string(runes[:letters-1]) + "…"
}

func add(a, b int) int { return a + b }

// stateClass is a booking's state as the style sheet knows it.
func stateClass(s schedulingv1.BookingState) string {
	switch s {
	case schedulingv1.BookingState_BOOKING_STATE_STARTED:
		return "started"
	case schedulingv1.BookingState_BOOKING_STATE_FINISHED:
		return "finished"
	default:
		return ""
	}
}

// barLine is the small print of a bar: who, until when.
func (d *Desk) barLine(b *schedulingv1.Booking) string {
	return last(b.GetTechnician()) + " " + d.clock(b.GetWhen().GetEnd())
}
