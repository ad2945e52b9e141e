package main

import (
	"bytes"
	"encoding/json"
	"io"
	"strings"
	"testing"

	"ramprow/services/inventory"
)

func benchStock(t *testing.T, flags string, out io.Writer) error {
	t.Helper()
	root := rootCommand()
	root.SetArgs(append([]string{"bench", "stock"}, strings.Fields(flags)...))
	root.SetOut(out)
	root.SetErr(io.Discard)
	return root.ExecuteContext(t.Context())
}

func TestBenchStock(t *testing.T) {
	var out, table bytes.Buffer
	if err := benchStock(t, "--parts 20 --movements 600 --output json", &out); err != nil {
		t.Fatal(err)
	}
	var shop inventory.BigShop
	if err := json.Unmarshal(out.Bytes(), &shop); err != nil || shop.Parts != 20 || shop.Movements != 600 || len(shop.Figures) == 0 {
		t.Errorf("%v in %s", err, out.String())
	}
	if err := benchStock(t, "--parts 20 --movements 600", &table); err != nil {
		t.Fatal(err)
	}
	for _, want := range append(shop.Figures, inventory.Measured{What: "20 parts, 600 movements over three years"}) {
		if !strings.Contains(table.String(), want.What) {
			t.Errorf("the table lacks %q:\n%s", want.What, table.String())
		}
	}
}

func TestBenchStockRefuses(t *testing.T) {
	for flags, want := range map[string]string{
		"--output xml":         "use table or json",
		"--parts 0":            "1 to 500000 parts",
		"--movements 90000000": "1 to 5000000 movements",
		"surplus":              "unknown command",
	} {
		if err := benchStock(t, flags, io.Discard); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v", flags, err)
		}
	}
}
