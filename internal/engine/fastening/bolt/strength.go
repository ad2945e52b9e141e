package bolt

import "fmt"

// Class is a property class of ISO 898-1 with its least strengths in MPa and
// its least elongation after fracture as a share.
type Class struct {
	Name                            string
	Yield, Tensile, Proof, Fracture float64
}

// classes of ISO 898-1, from memory; 8.8, 10.9 and 12.9 are confirmed by the
// load tables and by the guideline's preload tables.
var classes = map[string]Class{
	"4.6":  {"4.6", 240, 400, 225, 0.22},
	"4.8":  {"4.8", 340, 420, 310, 0.14},
	"5.6":  {"5.6", 300, 500, 280, 0.20},
	"5.8":  {"5.8", 420, 520, 380, 0.10},
	"6.8":  {"6.8", 480, 600, 440, 0.08},
	"8.8":  {"8.8", 640, 800, 580, 0.12},
	"9.8":  {"9.8", 720, 900, 650, 0.10},
	"10.9": {"10.9", 940, 1040, 830, 0.09},
	"12.9": {"12.9", 1100, 1220, 970, 0.08},
}

// thickFrom is the diameter above which class 8.8 is a little stronger.
const thickFrom = 16

// ClassError says that nothing is known of a property class.
type ClassError struct{ Name string }

// Error implements error.
func (e *ClassError) Error() string {
	return fmt.Sprintf("property class %q is not in ISO 898-1; leave it empty for other materials", e.Name)
}

// ClassOf gives a property class for a thread. The error is a *ClassError.
func ClassOf(t Thread, name string) (Class, error) {
	c, ok := classes[name]
	if !ok {
		return Class{}, &ClassError{Name: name}
	}
	if name == "8.8" && t.Diameter > thickFrom {
		c.Yield, c.Tensile, c.Proof = 660, 830, 600
	}
	return c, nil
}

// Loads are the proof and tensile loads of ISO 898-1 in newtons.
type Loads struct{ Proof, Tensile float64 }

// loads as printed for coarse threads, by diameter. They are kept, not
// computed: a third of the printed proof loads are not what rounding gives.
var loads = map[float64]map[string]Loads{
	4:  {"8.8": {5100, 7020}, "10.9": {7290, 9130}, "12.9": {8520, 10700}},
	5:  {"8.8": {8230, 11350}, "10.9": {11800, 14800}, "12.9": {13800, 17300}},
	6:  {"8.8": {11600, 16100}, "10.9": {16700, 20900}, "12.9": {19500, 24500}},
	7:  {"8.8": {16800, 23100}, "10.9": {24000, 30100}, "12.9": {28000, 35300}},
	8:  {"8.8": {21200, 29200}, "10.9": {30400, 38100}, "12.9": {35500, 44600}},
	10: {"8.8": {33700, 46400}, "10.9": {48100, 60300}, "12.9": {56300, 70800}},
	12: {"8.8": {48900, 67400}, "10.9": {70000, 87700}, "12.9": {81800, 103000}},
	14: {"8.8": {66700, 92000}, "10.9": {95500, 120000}, "12.9": {112000, 140000}},
	16: {"8.8": {91000, 125000}, "10.9": {130000, 163000}, "12.9": {152000, 192000}},
	18: {"8.8": {115000, 159000}, "10.9": {159000, 200000}, "12.9": {186000, 234000}},
	20: {"8.8": {147000, 203000}, "10.9": {203000, 255000}, "12.9": {238000, 299000}},
	22: {"8.8": {182000, 252000}, "10.9": {252000, 315000}, "12.9": {294000, 370000}},
	24: {"8.8": {212000, 293000}, "10.9": {293000, 367000}, "12.9": {342000, 431000}},
}

// coarse are the pitches of the coarse series (ISO 261), for the table above.
var coarse = map[float64]float64{
	4: 0.7, 5: 0.8, 6: 1, 7: 1, 8: 1.25, 10: 1.5, 12: 1.75, 14: 2, 16: 2, 18: 2.5, 20: 2.5, 22: 2.5, 24: 3,
}

// LoadsOf gives the loads as printed where the table has them, otherwise
// computed from area and strength (within 0.65 % of the printed ones).
func LoadsOf(t Thread, c Class) Loads {
	if l, ok := loads[t.Diameter][c.Name]; ok && coarse[t.Diameter] == t.Pitch {
		return l
	}
	return Loads{Proof: t.StressArea() * c.Proof, Tensile: t.StressArea() * c.Tensile}
}
