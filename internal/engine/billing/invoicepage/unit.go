package invoicepage

// unitWords are what people call the units of UN/ECE Recommendations 20 and 21
// that a workshop sells by (from memory, as the Recommendations name them).
var unitWords = map[string]string{
	"C62": "unit", "H87": "piece", "EA": "each", "SET": "set", "PR": "pair",
	"MIN": "min", "HUR": "h", "DAY": "day",
	"KMT": "km", "MTR": "m", "CMT": "cm", "MMT": "mm", "MTK": "m²",
	"LTR": "l", "DLT": "dl", "CLT": "cl", "MLT": "ml",
	"TNE": "t", "KGM": "kg", "GRM": "g", "MGM": "mg", "KWH": "kWh",
	"XPK": "package", "XBO": "bottle", "XTU": "tube", "XCA": "can",
}

// unit gives a unit's word. A code that has none here is shown as it is.
func unit(code string) string {
	if word, known := unitWords[code]; known {
		return word
	}
	return code
}
