package jobcard

import (
	"fmt"
	"html/template"
	"strings"

	"github.com/boombuler/barcode/qr"
)

// quiet is the empty border that ISO/IEC 18004 asks for, in modules.
const quiet = 4

// code draws a QR symbol (ISO/IEC 18004, a quarter of it may be unreadable) as SVG: a workshop's card gets oily.
func code(text string) (template.HTML, error) {
	symbol, err := qr.Encode(text, qr.Q, qr.Auto)
	if err != nil {
		return "", fmt.Errorf("a code for %q: %w", text, err)
	}
	side := symbol.Bounds().Dx()
	var path strings.Builder
	for y := range side {
		for x := range side {
			if r, _, _, _ := symbol.At(x, y).RGBA(); r == 0 {
				fmt.Fprintf(&path, "M%d %dh1v1h-1z", x+quiet, y+quiet)
			}
		}
	}
	size := side + 2*quiet
	return template.HTML(fmt.Sprintf( //nolint:gosec // numbers of our own, and the text escaped
		`<svg class="code" role="img" aria-label="%s" viewBox="0 0 %d %d" shape-rendering="crispEdges"><path d="%s"/></svg>`,
		template.HTMLEscapeString(text), size, size, path.String())), nil
}
