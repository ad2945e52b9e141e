// Package icalendar writes calendars that any calendar program can read (RFC 5545).
//
//	events ──> VEVENT each: UID, DTSTAMP, DTSTART, DTEND, SUMMARY … ──> lines of at most 75 octets
//
// All times are written in UTC, so that no time zone has to be described. The
// package is pure; it is told the present.
package icalendar

import (
	"bufio"
	"fmt"
	"io"
	"strings"
	"time"
	"unicode/utf8"
)

// Calendar is what a reader subscribes to or imports.
type Calendar struct {
	// Product made it (PRODID); Name is shown for the calendar.
	Product, Name string
	// Stamp is when it was written.
	Stamp  time.Time
	Events []Event
}

// Event is one interval of time.
type Event struct {
	// UID stays the same for the same thing, so that a newer calendar replaces it.
	UID string
	// Sequence grows with each change of the time (RFC 5545, 3.8.7.4).
	Sequence   uint32
	Start, End time.Time
	// Summary is its title; Description and Location may be empty.
	Summary, Description, Location string
	// Tentative: it may still move; otherwise it is confirmed.
	Tentative bool
}

// utc is 'form #2: date with UTC time' (RFC 5545, 3.3.5).
const utc = "20060102T150405Z"

// Write writes the calendar. Errors are the writer's.
func (c Calendar) Write(out io.Writer) error {
	w := &writer{out: bufio.NewWriter(out)}
	w.line("BEGIN", "VCALENDAR")
	w.line("VERSION", "2.0")
	w.line("PRODID", text(c.Product))
	w.line("CALSCALE", "GREGORIAN")
	w.line("METHOD", "PUBLISH")
	w.line("X-WR-CALNAME", text(c.Name)) // not of the standard, but what readers show
	for _, e := range c.Events {
		w.event(e, c.Stamp)
	}
	w.line("END", "VCALENDAR")
	return w.out.Flush()
}

type writer struct{ out *bufio.Writer }

func (w *writer) event(e Event, stamp time.Time) {
	w.line("BEGIN", "VEVENT")
	w.line("UID", text(e.UID))
	w.line("DTSTAMP", stamp.UTC().Format(utc))
	w.line("SEQUENCE", fmt.Sprint(e.Sequence))
	w.line("DTSTART", e.Start.UTC().Format(utc))
	w.line("DTEND", e.End.UTC().Format(utc))
	w.line("SUMMARY", text(e.Summary))
	if e.Description != "" {
		w.line("DESCRIPTION", text(e.Description))
	}
	if e.Location != "" {
		w.line("LOCATION", text(e.Location))
	}
	status := "CONFIRMED"
	if e.Tentative {
		status = "TENTATIVE"
	}
	w.line("STATUS", status)
	w.line("END", "VEVENT")
}

// widest is how many octets a line may have without its break (RFC 5545, 3.1).
const widest = 75

// line writes one property, folded between characters: what goes on begins with a
// space.
func (w *writer) line(name, value string) {
	rest, room := name+":"+value, widest
	for len(rest) > room {
		cut := room
		for cut > 0 && !utf8.RuneStart(rest[cut]) {
			cut--
		}
		_, _ = w.out.WriteString(rest[:cut] + "\r\n ") // Flush tells
		rest, room = rest[cut:], widest-1
	}
	_, _ = w.out.WriteString(rest + "\r\n") // Flush tells
}

// text escapes as RFC 5545, 3.3.11 says; other control characters may not stand in
// a calendar and become spaces, bytes that are no UTF-8 the replacement character.
func text(s string) string {
	s = strings.ReplaceAll(strings.ToValidUTF8(s, "\uFFFD"), "\r\n", "\n")
	var b strings.Builder
	for _, r := range s {
		switch {
		case r == '\\' || r == ';' || r == ',':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r == '\n':
			b.WriteString(`\n`)
		case r < ' ' && r != '\t' || r == 0x7f:
			b.WriteByte(' ')
		default:
			b.WriteRune(r)
		}
	}
	return b.String()
}
