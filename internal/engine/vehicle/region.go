package vehicle

import "strings"

// Region is where the maker is registered.
type Region int

// The regions by the first character.
const (
	UnknownRegion Region = iota
	Africa
	Asia
	Europe
	NorthAmerica
	Oceania
	SouthAmerica
)

// String is the region's name.
func (r Region) String() string {
	return [...]string{"unknown region", "Africa", "Asia", "Europe", "North America", "Oceania", "South America"}[r]
}

// Region is read from the first character: A-H Africa, J-R Asia, S-Z Europe, 1-5 North America,
// 6-7 Oceania, 8-9 South America.
func (v VIN) Region() Region {
	switch c := v[0]; {
	case c >= 'A' && c <= 'H':
		return Africa
	case c >= 'J' && c <= 'R':
		return Asia
	case c >= 'S' && c <= 'Z':
		return Europe
	case c >= '1' && c <= '5':
		return NorthAmerica
	case c == '6' || c == '7':
		return Oceania
	case c == '8' || c == '9':
		return SouthAmerica
	}
	return UnknownRegion
}

// ModelYears lists the years that position 10 may stand for, the earlier first; none where it is no
// year letter. Letters and digits come round every 30 years. For light North American vehicles a
// letter at position 7 means 2010 or later, so that one year is left. Elsewhere the position is not
// always the year; the result is then a hint.
func (v VIN) ModelYears() []int {
	const letters = "ABCDEFGHJKLMNPRSTVWXY123456789"
	at := strings.IndexByte(letters, v[9])
	if at < 0 {
		return nil
	}
	early, late := 1980+at, 2010+at
	if v.Region() != NorthAmerica {
		return []int{early, late}
	}
	if c := v[6]; c >= 'A' && c <= 'Z' {
		return []int{late}
	}
	return []int{early}
}
