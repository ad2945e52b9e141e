package icalendar_test

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"ramprow/internal/engine/icalendar"
)

var noon = time.Date(2026, 7, 1, 12, 0, 0, 0, time.FixedZone("summer", 2*3600))

func write(t interface{ Fatal(...any) }, c icalendar.Calendar) string {
	var b bytes.Buffer
	if err := c.Write(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// TestACalendarToTheLetter holds the form to RFC 5545: lines end in CR LF (3.1), a
// time in UTC ends in Z (3.3.5), comma, semicolon, backslash and line breaks in texts
// are escaped (3.3.11), UID and DTSTAMP are there (3.6.1).
func TestACalendarToTheLetter(t *testing.T) {
	got := write(t, icalendar.Calendar{
		Product: "-//Ramprow//Bays//EN", Name: "Bay 1", Stamp: noon,
		Events: []icalendar.Event{{
			UID: "bookings/17@site", Sequence: 3, Start: noon, End: noon.Add(90 * time.Minute),
			Summary: "Timing chain; 17", Description: "first\nthen, \\ last", Location: "Bay 1", Tentative: true,
		}},
	})
	want := strings.Join([]string{
		"BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//Ramprow//Bays//EN", "CALSCALE:GREGORIAN", "METHOD:PUBLISH", "X-WR-CALNAME:Bay 1",
		"BEGIN:VEVENT", "UID:bookings/17@site", "DTSTAMP:20260701T100000Z", "SEQUENCE:3", "DTSTART:20260701T100000Z", "DTEND:20260701T113000Z",
		`SUMMARY:Timing chain\; 17`, `DESCRIPTION:first\nthen\, \\ last`, "LOCATION:Bay 1", "STATUS:TENTATIVE", "END:VEVENT", "END:VCALENDAR", "",
	}, "\r\n")
	if got != want {
		t.Errorf("got\n%q, want\n%q", got, want)
	}
}

// TestEveryTextComesBack: a reader that only knows the standard's rules for folding
// and escaping gets each text back, and no line is longer than 75 octets.
func TestEveryTextComesBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		said := rapid.StringMatching(`[ -~äß€漢😀\n\t]{0,200}`).Draw(t, "text")
		got := write(t, icalendar.Calendar{Stamp: noon, Events: []icalendar.Event{{UID: "x", Start: noon, End: noon, Summary: said}}})
		for line := range strings.SplitSeq(strings.TrimSuffix(got, "\r\n"), "\r\n") {
			if len(line) > 75 || strings.ContainsAny(line, "\r\n") {
				t.Fatalf("%d octets: %q", len(line), line)
			}
		}
		unfolded := strings.ReplaceAll(got, "\r\n ", "")
		_, rest, _ := strings.Cut(unfolded, "SUMMARY:")
		value, _, _ := strings.Cut(rest, "\r\n")
		if back := unescape(value); back != said {
			t.Fatalf("said %q, read %q", said, back)
		}
	})
}

func unescape(s string) string {
	var b strings.Builder
	for i := 0; i < len(s); i++ {
		if s[i] != '\\' {
			b.WriteByte(s[i])
			continue
		}
		if i++; s[i] == 'n' || s[i] == 'N' {
			b.WriteByte('\n')
		} else {
			b.WriteByte(s[i])
		}
	}
	return b.String()
}

// FuzzWrite: no text can add a property or a line of its own.
func FuzzWrite(f *testing.F) {
	f.Add("a\r\nBEGIN:VEVENT", "\x00\xff")
	f.Fuzz(func(t *testing.T, summary, place string) {
		got := write(t, icalendar.Calendar{Stamp: noon, Events: []icalendar.Event{{UID: "x", Start: noon, End: noon, Summary: summary, Location: place}}})
		if n := strings.Count("\n"+got, "\nBEGIN:VEVENT"); n != 1 {
			t.Fatalf("%d events in %q", n, got)
		}
	})
}
