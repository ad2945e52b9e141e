package dtc

import (
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
)

// Answers from an interface chip's data sheet, a public decoder's tests and a forum thread.
func TestParseStored(t *testing.T) {
	tests := []struct {
		answer string
		can    bool
		want   []string
	}{
		{"43 01 33 00 00 00 00", false, []string{"P0133"}},
		{"43 02 01 02 01 13", true, []string{"P0102", "P0113"}},
		{"43 04 01 02 01 13 01 23 02 22 00 00 00", true, []string{"P0102", "P0113", "P0123", "P0222"}},
		{"43 01 04 80 03 41 23", false, []string{"P0104", "B0003", "C0123"}},
		{"43 01 04 80", false, []string{"P0104"}}, // an odd byte at the end is dropped
		{"43 00", true, nil},
		{"43", false, nil},
	}
	for _, tt := range tests {
		codes, err := ParseStored(raw(t, tt.answer), tt.can)
		var got []string
		for _, c := range codes {
			got = append(got, c.String())
		}
		if err != nil || !slices.Equal(got, tt.want) {
			t.Errorf("%s: %v, %v; want %v", tt.answer, got, err, tt.want)
		}
	}
	for _, bad := range []string{"", "7F 03 11", "43 02 01 02"} {
		var format *FormatError
		if _, err := ParseStored(raw(t, bad), true); !errors.As(err, &format) {
			t.Errorf("%q: %v, want a format error", bad, err)
		}
	}
}

func TestParseReadiness(t *testing.T) {
	tests := []struct {
		answer string
		want   Readiness
	}{
		{"41 01 81 07 65 04", Readiness{LampOn: true, Codes: 1}},
		{"41 01 83 07 FF 00", Readiness{LampOn: true, Codes: 3}},
		{"41 01 00 79 03 03", Readiness{CompressionIgnition: true}},
	}
	for _, tt := range tests {
		if got, err := ParseReadiness(raw(t, tt.answer)); err != nil || got != tt.want {
			t.Errorf("%s: %+v, %v; want %+v", tt.answer, got, err, tt.want)
		}
	}
}

// Bits of ISO 14229-1 clause D.2; values from public test suites.
func TestStatus(t *testing.T) {
	tests := []struct {
		status Status
		names  string
		passed bool
	}{
		{0x24, "pendingDTC testFailedSinceLastClear", true},
		{0x2F, "testFailed testFailedThisOperationCycle pendingDTC confirmedDTC testFailedSinceLastClear", false},
		{0x50, "testNotCompletedSinceLastClear testNotCompletedThisOperationCycle", false},
		{0x5A, "testFailedThisOperationCycle confirmedDTC testNotCompletedSinceLastClear testNotCompletedThisOperationCycle", false},
		{0xA9, "testFailed confirmedDTC testFailedSinceLastClear warningIndicatorRequested", false}, // fails now
		{0x00, "", true},
	}
	for _, tt := range tests {
		if got := strings.Join(tt.status.Names(), " "); got != tt.names {
			t.Errorf("%02X: %s, want %s", byte(tt.status), got, tt.names)
		}
		if got := tt.status.PassedThisCycle(); got != tt.passed {
			t.Errorf("%02X: passed %v, want %v", byte(tt.status), got, tt.passed)
		}
	}
	if AfterClear != 0x50 {
		t.Errorf("after clear %02X, want 50", byte(AfterClear))
	}
}

// Common practice, no source: failing now > pending > stored > history > nothing.
func TestStatusWeightFalls(t *testing.T) {
	order := []Status{0x2F, 0x24, 0x28, 0x20, AfterClear}
	for i := 1; i < len(order); i++ {
		if a, b := order[i-1].Weight(), order[i].Weight(); a <= b {
			t.Errorf("%02X weighs %v, not more than %02X with %v", byte(order[i-1]), a, byte(order[i]), b)
		}
	}
}

// Exchange quoted from ISO 14229-1:2020 12.3.5 by a public test suite: mask 84, availability 7F; the
// filter drops P2522-1F, whose status is 00.
func TestReportByMask(t *testing.T) {
	report, err := ParseReport(raw(t, "59 02 7F 0A 9B 17 24 25 22 1F 00 08 05 11 2F"))
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, r := range report.Select(0x84) {
		b := r.Bytes()
		got = append(got, fmt.Sprintf("%v/% X", r, b[:]))
	}
	want := []string{"P0A9B-17/0A 9B 17 24", "P0805-11/08 05 11 2F"}
	if !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
	if selected := report.Select(0x01); len(selected) != 1 {
		t.Errorf("mask 01 selects %v", selected)
	}
	if empty, err := ParseReport(raw(t, "59 02 7F")); err != nil || len(empty.Records) != 0 {
		t.Errorf("no match: %v, %v", empty, err)
	}
	if _, err := ParseReport(raw(t, "59 02 7F 0A 9B 17")); err == nil {
		t.Error("a cut record was accepted")
	}
}

func TestThreeByte(t *testing.T) {
	tests := []struct {
		text  string
		bytes [RecordSize]byte
		class string
	}{
		{"P0A9B-17", [4]byte{0x0A, 0x9B, 0x17, 0}, "circuit"},
		{"P2522-1F", [4]byte{0x25, 0x22, 0x1F, 0}, "circuit"},
		{"P0805-11", [4]byte{0x08, 0x05, 0x11, 0}, "circuit"},
		{"U0100-87", [4]byte{0xC1, 0x00, 0x87, 0}, "bus"},
	}
	for _, tt := range tests {
		code, failure, err := ParseThreeByte(tt.text)
		r := Record{Code: code, Failure: failure}
		if err != nil || r.Bytes() != tt.bytes || r.String() != tt.text || failure.Class() != tt.class {
			t.Errorf("%s: %v % X %s, %v", tt.text, r, r.Bytes(), failure.Class(), err)
		}
	}
}

func raw(t *testing.T, text string) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.ReplaceAll(text, " ", ""))
	if err != nil {
		t.Fatal(err)
	}
	return b
}
