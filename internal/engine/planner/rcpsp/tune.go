package rcpsp

import (
	"os"
	"strconv"
)

func init() {
	get := func(n string, v *float64) {
		if f, err := strconv.ParseFloat(os.Getenv(n), 64); err == nil {
			*v = f
		}
	}
	var f float64
	get("T_SIZE", &f)
	tuneSize = int(f)
	f = 0
	get("T_VAR", &f)
	tuneVariant = int(f)
	f = 3
	get("T_DRAWS", &f)
	tuneDraws = int(f)
	get("T_MUT", &tuneMut)
	get("T_MIN", &tuneMin)
	get("T_MAX", &tuneMax)
}
