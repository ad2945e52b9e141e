package en16931_test

import (
	"strings"
	"testing"

	"pgregory.net/rapid"

	"ramprow/internal/engine/billing/en16931"
	"ramprow/internal/engine/billing/invoicetest"
)

func TestJSONKeepsTheInvoice(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want, err := en16931.WriteJSON(invoicetest.Random(t))
		if err != nil {
			t.Fatal(err)
		}
		invoice, err := en16931.ReadJSON(want)
		if err != nil {
			t.Fatal(err)
		}
		if findings := en16931.Check(invoice); len(findings) > 0 {
			t.Fatal(findings)
		}
		if got, err := en16931.WriteJSON(invoice); err != nil || string(got) != string(want) {
			t.Fatalf("read differs: %v\n%s\n%s", err, want, got)
		}
	})
}

func TestJSONRefusals(t *testing.T) {
	good, err := en16931.WriteJSON(invoicetest.Good())
	if err != nil {
		t.Fatal(err)
	}
	tests := []struct{ name, text, want string }{
		{"nothing", "", "no invoice as JSON"},
		{"another field", strings.Replace(string(good), `"number"`, `"nummer"`, 1), "nummer"},
		{"two", string(good) + "{}", "more behind it"},
		{"a huge exponent", strings.Replace(string(good), `"1.55"`, `"1e999"`, 1), "price.net"},
		{"a huge rate", strings.Replace(string(good), `"rate": "20"`, `"rate": "1e999"`, 1), "rate"},
		{"not a number", strings.Replace(string(good), `"1.55"`, `"dear"`, 1), "no invoice as JSON"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if _, err := en16931.ReadJSON([]byte(tt.text)); err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("got %v, want %q", err, tt.want)
			}
		})
	}
}

func FuzzReadJSON(f *testing.F) {
	if good, err := en16931.WriteJSON(invoicetest.Good()); err == nil {
		f.Add(good)
	}
	f.Add([]byte(`{"lines":[{"quantity":"1e9"}]}`))
	f.Fuzz(func(_ *testing.T, data []byte) {
		if i, err := en16931.ReadJSON(data); err == nil {
			en16931.Check(i)
			i.Complete(en16931.Options{})
		}
	})
}
