package desk

import (
	"math/big"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"golang.org/x/text/language"
	"google.golang.org/protobuf/types/known/durationpb"
	"pgregory.net/rapid"

	commonv1 "ramprow/proto/ramprow/common/v1"
)

func TestMoney(t *testing.T) {
	// Grouping and decimal signs as Unicode CLDR gives them for the languages (through golang.org/x/text);
	// decimals by ISO 4217.
	cases := []struct {
		language language.Tag
		units    int64
		currency string
		want     string
	}{
		{language.BritishEnglish, 123450, "EUR", "1,234.50 EUR"},
		{language.BritishEnglish, -5, "EUR", "-0.05 EUR"},
		{language.BritishEnglish, 0, "EUR", "0.00 EUR"},
		{language.BritishEnglish, 1234, "JPY", "1,234 JPY"},
		{language.BritishEnglish, 1234567, "KWD", "1,234.567 KWD"},
		{language.German, 123450, "EUR", "1.234,50 EUR"},
	}
	for _, c := range cases {
		d := &Desk{Config: Config{Language: c.language}}
		if got := d.money(&commonv1.Money{MinorUnits: c.units, CurrencyCode: c.currency}); got != c.want {
			t.Errorf("%d %s in %s: %q, want %q", c.units, c.currency, c.language, got, c.want)
		}
	}
}

// What is written is exactly the amount: math/big reads it back.
func TestMoneyIsExact(t *testing.T) {
	d := &Desk{Config: Config{Language: language.BritishEnglish}}
	rapid.Check(t, func(t *rapid.T) {
		units := rapid.Int64Range(-1e15, 1e15).Draw(t, "units")
		text, _ := strings.CutSuffix(d.money(&commonv1.Money{MinorUnits: units, CurrencyCode: "EUR"}), " EUR")
		got, ok := new(big.Rat).SetString(strings.ReplaceAll(text, ",", ""))
		if !ok || got.Cmp(big.NewRat(units, 100)) != 0 {
			t.Fatalf("%d is written %q", units, text)
		}
	})
}

func TestMoneyIsReadExactly(t *testing.T) {
	cases := map[string]int64{"420": 42000, "420.5": 42050, "420,50": 42050, "0.01": 1, "": -1, ".5": -1, "1.": -1, "1.005": -1, "-3": -1, "1e3": -1, "1 000": -1, "99999999999999999999": -1}
	for text, want := range cases {
		v := &visit{d: &Desk{}, r: &http.Request{PostForm: url.Values{"upto": {text}}}}
		m, err := v.money("upto", "EUR")
		if want < 0 {
			if err == nil {
				t.Errorf("%q is read as %d", text, m.GetMinorUnits())
			}
			continue
		}
		if err != nil || m.GetMinorUnits() != want {
			t.Errorf("%q is read as %d, %v; want %d", text, m.GetMinorUnits(), err, want)
		}
	}
}

func FuzzMoney(f *testing.F) {
	f.Add("420.50", "EUR")
	f.Add("-1", "JPY")
	f.Fuzz(func(t *testing.T, text, code string) {
		v := &visit{d: &Desk{}, r: &http.Request{PostForm: url.Values{"upto": {text}}}}
		if m, err := v.money("upto", code); err == nil && m.GetMinorUnits() < 0 {
			t.Errorf("%q is read as %d", text, m.GetMinorUnits())
		}
	})
}

func TestSpan(t *testing.T) {
	for length, want := range map[time.Duration]string{
		29 * time.Second: "0 min", 45 * time.Minute: "45 min", 2 * time.Hour: "2 h", 200 * time.Minute: "3 h 20 min",
	} {
		if got := english(t).lasting(durationpb.New(length)); got != want {
			t.Errorf("%s is %q, want %q", length, got, want)
		}
	}
}

// A form on somebody else's page is refused by the browser's own word about it.
func TestForgedFormsAreRefused(t *testing.T) {
	d := &Desk{}
	var err error
	if d.words, err = loadWords("en"); err != nil {
		t.Fatal(err)
	}
	if d.assetTags, err = tagAssets(); err != nil {
		t.Fatal(err)
	}
	d.Now = time.Now
	if d.pages, err = d.parsePages(); err != nil {
		t.Fatal(err)
	}
	handler := d.routes()
	for header, value := range map[string]string{"Sec-Fetch-Site": "cross-site", "Origin": "https://elsewhere.example"} {
		r := httptest.NewRequest(http.MethodPost, "/signout", nil)
		r.Header.Set(header, value)
		w := httptest.NewRecorder()
		handler.ServeHTTP(w, r)
		if w.Code != http.StatusForbidden || !strings.Contains(w.Body.String(), "FORM_FORGED") {
			t.Errorf("%s: %s gets %d %s", header, value, w.Code, w.Body)
		}
		if policy := w.Header().Get("Content-Security-Policy"); !strings.Contains(policy, "default-src 'none'") || strings.Contains(policy, "unsafe") {
			t.Errorf("the policy is %q", policy)
		}
	}
}

func english(t *testing.T) *Desk {
	t.Helper()
	w, err := loadWords("en")
	if err != nil {
		t.Fatal(err)
	}
	return &Desk{words: w}
}

// Days are named as the standard library names them in English.
func TestDaysAreNamed(t *testing.T) {
	d := english(t)
	for day := range 400 {
		at := time.Date(2026, 1, 1+day, 9, 0, 0, 0, time.UTC)
		if got, want := d.words.date(at, ""), at.Format("Monday 2 January"); got != want {
			t.Errorf("%q, want %q", got, want)
		}
		if got, want := d.words.date(at, ".short"), at.Format("Mon 2 Jan"); got != want {
			t.Errorf("%q, want %q", got, want)
		}
		if got, want := d.dayShort(at.Format(time.DateOnly)), at.Format("2 Jan 2006"); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

func TestNamesBecomeWords(t *testing.T) {
	d := english(t)
	for text, want := range map[string]string{
		"earliest place: bays/3 with people/tomas would be done Fri 16:00": "earliest place: Bay 3 with tomas would be done Fri 16:00",
		"waits for jobs/12": "waits for Job 12",
		"turned away":       "turned away",
		"":                  "",
	} {
		if got := d.plain(text); got != want {
			t.Errorf("%q is told as %q, want %q", text, got, want)
		}
	}
}
