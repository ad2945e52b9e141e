package partmaster

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"
	"pgregory.net/rapid"

	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// applied reads a file over nothing known and gives the parts and all mistakes.
func applied(text string) (parts []*inventoryv1.Part, mistakes []string) {
	rows, wrong := Read(text)
	for _, r := range rows {
		p, more := r.Apply(nil)
		if wrong = append(wrong, more...); len(more) == 0 {
			parts = append(parts, p)
		}
	}
	for _, m := range wrong {
		mistakes = append(mistakes, m.String())
	}
	return parts, mistakes
}

func TestReadTellsEveryMistakeByLine(t *testing.T) {
	for name, tt := range map[string]struct {
		text string
		want []string
	}{
		"empty":                           {"", []string{"line 1: the first line must name the columns, as in number,title,unit: the file is empty"}},
		"no number":                       {"title\nSeal\n", []string{"line 1, number: this column is needed: each line is told apart by it"}},
		"unknown column":                  {"number,colour\n", []string{"line 1, colour: there is no such column; use number, title, unit,"}},
		"column twice":                    {"number,bin,bin\n", []string{"line 1, bin: the column stands there twice"}},
		"too few cells":                   {"number,title,unit\nA-1,Seal\nA-2,Seal,piece\n", []string{"line 2: 2 cells stand here, and there are 3 columns"}},
		"part twice":                      {"number,title,unit\nA-1,Seal,piece\nA-1,Seal,piece\n", []string{"line 3, number: A-1 stands on line 2 already"}},
		"quote not closed":                {"number,title,unit\nA-1,\"Seal,piece\n", []string{`line 2: a quotation mark is not closed or not doubled`}},
		"fraction of a one":               {"number,title,unit,pack\nA-1,Seal,piece,1.5\n", []string{`line 2, pack: "1.5" is no whole number; write pieces, ml, g or mm without decimals`}},
		"negative":                        {"number,title,unit,reorder_point\nA-1,Seal,piece,-4\n", []string{"line 2, reorder_point: -4 is negative; write 0 or more"}},
		"no title":                        {"number,unit\nA-1,piece\n", []string{"line 2, title: "}},
		"no unit":                         {"number,title\nA-1,Seal\n", []string{"line 2, unit: "}},
		"odd unit":                        {"number,title,unit\nA-1,Seal,barrel\n", []string{`line 2, unit: "barrel" is no unit; use piece, millilitre, gram or millimetre`}},
		"odd number":                      {"number,title,unit\na 1,Seal,piece\n", []string{"line 2, number: "}},
		"price without":                   {"number,title,unit,price\nA-1,Seal,piece,2.50\n", []string{"line 2, price: 2.50 has no currency; fill the column currency"}},
		"too many decimals":               {"number,title,unit,price,currency\nA-1,Seal,piece,2.505,EUR\n", []string{`line 2, price: "2.505" is no amount in EUR`}},
		"odd currency":                    {"number,title,unit,currency\nA-1,Seal,piece,eur\n", []string{`line 2, currency: "eur" is no currency`}},
		"odd flag":                        {"number,title,unit,hazardous\nA-1,Seal,piece,perhaps\n", []string{`line 2, hazardous: "perhaps" is neither yes nor no`}},
		"misread barcode":                 {"number,title,unit,barcode\nA-1,Seal,piece,6291041500214\n", []string{"line 2, barcode: 6291041500214 ends in 4, and its check digit is 3"}},
		"ever so late":                    {"number,title,unit,lead_time_days\nA-1,Seal,piece,999\n", []string{"line 2, lead_time_days: 999 days are more than two years"}},
		"two in one line":                 {"number,title,unit,pack,order_up_to\nA-1,Seal,piece,x,y\n", []string{"line 2, pack: ", "line 2, order_up_to: "}},
		"lines after a cell with a break": {"number,title,unit\nA-1,\"Seal\nlarge\",piece\nA-2,Seal,barrel\n", []string{"line 4, unit: "}},
	} {
		t.Run(name, func(t *testing.T) {
			_, got := applied(tt.text)
			if len(got) != len(tt.want) {
				t.Fatalf("got %q, want %q", got, tt.want)
			}
			for i := range got {
				if !strings.HasPrefix(got[i], tt.want[i]) {
					t.Errorf("got %q, want %q", got[i], tt.want[i])
				}
			}
		})
	}
}

func TestColumnsThatAreMissingStay(t *testing.T) {
	known := &inventoryv1.Part{
		Number: "A-1", Title: "Seal", Unit: commonv1.Unit_UNIT_PIECE, Bin: "C-07", Supplier: "northgate",
		Cost: &commonv1.Money{MinorUnits: 250, CurrencyCode: "EUR"},
	}
	rows, mistakes := Read("\ufeffnumber, bin ,cost,supplier\r\nA-1, D-01 ,2.75,\r\n")
	if len(mistakes) > 0 || len(rows) != 1 {
		t.Fatalf("%v, %v", rows, mistakes)
	}
	got, mistakes := rows[0].Apply(known)
	want := &inventoryv1.Part{
		Name: "parts/A-1", Number: "A-1", Title: "Seal", Unit: commonv1.Unit_UNIT_PIECE, Bin: "D-01",
		Cost: &commonv1.Money{MinorUnits: 275, CurrencyCode: "EUR"},
	}
	if diff := cmp.Diff(want, got, protocmp.Transform()); diff != "" || len(mistakes) > 0 {
		t.Errorf("%v\n%s", mistakes, diff)
	}
	if known.GetBin() != "C-07" {
		t.Error("the part that was known has changed")
	}
}

func TestTooManyParts(t *testing.T) {
	var b strings.Builder
	b.WriteString("number\n")
	for i := range MaxRows + 1 {
		b.WriteString("A-" + strings.Repeat("X", i%30) + string(rune('A'+i/30%26)) + string(rune('A'+i/780)) + "\n")
	}
	if _, mistakes := Read(b.String()); len(mistakes) != 1 || mistakes[0].Text != "a file may have 5000 lines; split it" {
		t.Errorf("%v", mistakes)
	}
}

func amountIn(t *rapid.T, label string) *commonv1.Money {
	if rapid.Bool().Draw(t, "no "+label) {
		return nil
	}
	return &commonv1.Money{
		MinorUnits:   rapid.Int64Range(0, 1_000_000_000).Draw(t, label),
		CurrencyCode: rapid.SampledFrom([]string{"EUR", "USD", "JPY", "KWD"}).Draw(t, label+" in"),
	}
}

// What is written is read again as it was, but for the stock.
func TestWhatIsWrittenIsRead(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := &inventoryv1.Part{
			Name: "parts/A-1", Number: "A-1",
			Title: strings.TrimSpace(rapid.StringMatching(`[A-Za-z",;=\n ]{1,40}`).Filter(func(s string) bool { return strings.TrimSpace(s) != "" }).Draw(t, "title")),
			Unit:  commonv1.Unit(rapid.Int32Range(1, 4).Draw(t, "unit")),
			Price: amountIn(t, "price"), Cost: amountIn(t, "cost"), Deposit: amountIn(t, "deposit"),
			PriceQuantity: rapid.Int64Range(0, 1000).Draw(t, "per"), Pack: rapid.Int64Range(0, 1000).Draw(t, "pack"),
			LeadTimeDays: rapid.Uint32Range(0, 730).Draw(t, "lead"),
			Alternatives: rapid.SliceOfN(rapid.StringMatching(`[A-Z0-9][A-Z0-9.-]{1,5}`), 0, 3).Draw(t, "alternatives"),
			UsedOnce:     rapid.Bool().Draw(t, "once"), Hazardous: rapid.Bool().Draw(t, "hazardous"), Refrigerant: rapid.Bool().Draw(t, "refrigerant"),
			Barcode: rapid.SampledFrom([]string{"", "6291041500213", "HOUSE-1"}).Draw(t, "barcode"),
		}
		var b strings.Builder
		if err := Write(&b, []*inventoryv1.Part{p}); err != nil {
			t.Fatal(err)
		}
		got, mistakes := applied(b.String())
		if len(mistakes) > 0 || len(got) != 1 {
			t.Fatalf("%v of\n%s", mistakes, b.String())
		}
		if diff := cmp.Diff(p, got[0], protocmp.Transform(), protocmp.IgnoreEmptyMessages()); diff != "" {
			t.Fatalf("%s of\n%s", diff, b.String())
		}
	})
}

func FuzzRead(f *testing.F) {
	for _, seed := range []string{
		"number,title,unit\nA-1,Seal,piece\n", "number\n\"A\n", "\ufeffnumber,price,currency\nA-1,2.5,EUR\n", "", "number,number\n", "number\n\x00\n",
		"number,title,unit,pack\nA-1,\"a\"\"b\",piece,1.5\n",
	} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		rows, mistakes := Read(text)
		for _, m := range mistakes {
			if m.Line < 1 || m.Text == "" {
				t.Fatalf("a mistake without place or reason: %+v", m)
			}
		}
		for _, r := range rows {
			p, wrong := r.Apply(nil)
			if len(wrong) > 0 {
				continue
			}
			var b strings.Builder
			if err := Write(&b, []*inventoryv1.Part{p}); err != nil {
				t.Fatal(err)
			}
			again, mistakes := applied(b.String())
			if len(mistakes) > 0 || len(again) != 1 || again[0].GetNumber() != p.GetNumber() || again[0].GetPack() != p.GetPack() {
				t.Fatalf("%q is written as\n%s\nand read as %v, %v", text, b.String(), again, mistakes)
			}
		}
	})
}
