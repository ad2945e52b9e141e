package inventory

import (
	"fmt"
	"strings"
	"testing"

	"ramprow/internal/platform/fault"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

func dryRun(s *site, lines ...string) *inventoryv1.ImportPartsResponse {
	s.t.Helper()
	return must(s, importParts, &inventoryv1.ImportPartsRequest{Csv: []byte(strings.Join(lines, "\n")), DryRun: true})
}

func TestImportListsChangesAndLeaves(t *testing.T) {
	s := newSite(t)
	s.list("SEAL", "BOLT")
	s.receive("SEAL", 4)
	file := []string{
		"number,title,unit,bin,barcode",
		"SEAL,Part SEAL,piece,C-07,6291041500213",
		"BOLT,Part BOLT,piece,A1,",
		"PLUG,Drain plug,piece,D-02,HOUSE-9",
	}
	tried := dryRun(s, file...)
	if tried.GetListed() != 1 || tried.GetChanged() != 1 || tried.GetUnchanged() != 1 || len(tried.GetMistakes()) > 0 {
		t.Errorf("the dry run says %v", tried)
	}
	if s.st.parts["PLUG"] != nil || s.st.parts["SEAL"].about.GetBin() != "A1" || len(s.st.barcodes) > 0 {
		t.Fatal("the dry run changed something")
	}
	must(s, importParts, &inventoryv1.ImportPartsRequest{Csv: []byte(strings.Join(file, "\n"))})
	if p := s.st.parts["SEAL"]; p.about.GetBin() != "C-07" || p.onHand != 4 || p.about.GetSupplier() != "northgate" {
		t.Errorf("SEAL is %v with %d on hand", p.about, p.onHand)
	}
	for code, want := range map[string]string{"6291041500213": "SEAL", "]E06291041500213": "SEAL", "HOUSE-9": "PLUG", "BOLT": "BOLT"} {
		if got, err := s.st.scanned(code); got != want || err != nil {
			t.Errorf("%s is found as %q, %v", code, got, err)
		}
	}
	for code, reason := range map[string]string{"6291041500214": "CODE_INVALID", "HOUSE-1": "CODE_UNKNOWN"} {
		_, err := s.st.scanned(code)
		wantReason(t, err, reason)
	}
	// What is renamed is no longer found by its old code.
	must(s, importParts, &inventoryv1.ImportPartsRequest{Csv: []byte("number,barcode\nSEAL,HOUSE-2\n")})
	_, err := s.st.scanned("6291041500213")
	wantReason(t, err, "CODE_UNKNOWN")
	s.audit()
}

// What the other parts say of a line is told by its line too, and lines count
// for one another in their order.
func TestImportTellsEveryMistake(t *testing.T) {
	s := newSite(t)
	s.list("SEAL", "BOLT")
	s.receive("SEAL", 4)
	got := dryRun(
		s,
		"number,title,unit,supersedes,barcode,reorder_point,order_up_to",
		"SEAL,Seal,gram,,,0,0",
		"NEW,New,piece,BOLT,HOUSE-1,0,0",
		"NEWER,Newer,piece,BOLT,,0,0",
		"BOLT,Bolt,piece,NEW,,0,0",
		"OTHER,Other,piece,,HOUSE-1,0,0",
		"LOW,Low,piece,,,9,3",
		"BAD,,piece,,,0,x",
	)
	want := []string{
		"2 : SEAL is kept in UNIT_PIECE, and 4 are on hand",
		"4 : BOLT is superseded by NEW already",
		"5 supersedes: NEW is itself a successor of BOLT",
		"6 barcode: the barcode HOUSE-1 is on NEW already",
		"7 order_up_to: 3 lies below the reorder point of 9",
		`8 order_up_to: "x" is no whole number`,
	}
	var told []string
	for _, m := range got.GetMistakes() {
		told = append(told, fmt.Sprint(m.GetLine())+" "+m.GetColumn()+": "+m.GetText())
	}
	if len(told) != len(want) {
		t.Fatalf("told %q", told)
	}
	for i := range want {
		if !strings.HasPrefix(told[i], want[i]) {
			t.Errorf("told %q, want %q", told[i], want[i])
		}
	}
	if got.GetListed() != 1 {
		t.Errorf("%d would be listed", got.GetListed())
	}
}

func TestImportIsAllOrNothing(t *testing.T) {
	s := newSite(t)
	_, err := do(s, importParts, &inventoryv1.ImportPartsRequest{Csv: []byte("number,title,unit\nA-1,Good,piece\nA-2,Bad,barrel\n")})
	wantReason(t, err, "FILE_INVALID")
	if f := err.(*fault.Error); len(f.Fields) != 1 || f.Fields[0].Path != "csv" || !strings.HasPrefix(f.Fields[0].Description, "line 3, unit: ") { //nolint:errorlint // the decision's own refusal
		t.Errorf("told %v", f.Fields)
	}
	if len(s.st.parts) > 0 {
		t.Error("a part of it was listed")
	}
}

func TestBarcodesOfOneKindOnOnePart(t *testing.T) {
	s := newSite(t)
	part := aPart("SEAL")
	part.Barcode = "6291041500214"
	_, err := do(s, setPart, &inventoryv1.SetPartRequest{Part: part})
	wantReason(t, err, "BARCODE_INVALID")
	part.Barcode = "036000241457"
	must(s, setPart, &inventoryv1.SetPartRequest{Part: part})
	other := aPart("BOLT")
	other.Barcode = "0036000241457" // the same GTIN with 13 digits
	_, err = do(s, setPart, &inventoryv1.SetPartRequest{Part: other})
	wantReason(t, err, "BARCODE_TAKEN")
}
