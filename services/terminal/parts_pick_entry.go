package terminal

import (
	"errors"
	"fmt"
	"regexp"
	"strings"

	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// pickEntry is what a clerk scanned or typed while picking.
type pickEntry struct {
	code     string
	quantity int64 // 0: one piece

	short bool // the bin holds no more
	cause inventoryv1.CountCause
	note  string

	undo     string // the line that goes back into its bin
	handOver bool
	stageAt  string
	partial  bool
	stop     bool
}

var severalPieces = regexp.MustCompile(`^([0-9]{1,10}) x (.+)$`)

// parsePickEntry reads one line. A scanned code stands alone; everything else
// begins with a sign that no code begins with.
func parsePickEntry(text string) (pickEntry, error) {
	text = strings.TrimSpace(text)
	sign, rest := "", ""
	if text != "" {
		sign, rest = text[:1], strings.TrimSpace(text[1:])
	}
	switch {
	case text == "":
		return pickEntry{}, errors.New("scan what you took, or type its number")
	case text == "q":
		return pickEntry{stop: true}, nil
	case sign == "!":
		return parseShort(rest)
	case sign == "-" && rest != "":
		return pickEntry{undo: rest}, nil
	case sign == "=", sign == "~":
		return pickEntry{handOver: rest == "", stageAt: rest, partial: sign == "~"}, nil
	case sign == "-":
		return pickEntry{}, errors.New("name the line that goes back, as in -seal-1")
	}
	if several := severalPieces.FindStringSubmatch(text); several != nil {
		n, err := parseQuantity(several[1])
		if err != nil {
			return pickEntry{}, err
		}
		if n == 0 {
			return pickEntry{}, errors.New("0 pieces are none; ! says that the bin is empty")
		}
		return pickEntry{code: strings.TrimSpace(several[2]), quantity: n}, nil
	}
	return pickEntry{code: text}, nil
}

func parseShort(rest string) (pickEntry, error) {
	word, note, _ := strings.Cut(rest, " ")
	if word == "" {
		return pickEntry{}, fmt.Errorf("say why the bin lacks it, as in !unknown; one of %s", strings.Join(choices[inventoryv1.CountCause](), ", "))
	}
	cause, err := choose[inventoryv1.CountCause]("!", word)
	return pickEntry{short: true, cause: cause, note: strings.TrimSpace(note)}, err
}
