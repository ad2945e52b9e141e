package replenish

// Method is a way to forecast.
type Method int

// The methods. All give the expected demand per period.
const (
	// SES is simple exponential smoothing of every period.
	SES Method = iota
	// Croston smooths the size of demands and their intervals apart from each
	// other. It is too high by a known factor.
	Croston
	// SBA is Croston's, corrected by 1 - alpha/2 (Syntetos and Boylan).
	SBA
	// SBJ is Croston's, corrected by 1 - alpha/(2-alpha) (Shale, Boylan and Johnston).
	SBJ
	// TSB smooths size and probability of demand, so that it decays while nobody
	// asks: for parts that die out (Teunter, Syntetos and Babai).
	TSB
)

// Smoothing are the weights of the newest value, each in (0, 1).
type Smoothing struct {
	Size float64
	// Interval weighs intervals (Croston's) or probabilities (TSB's); 0: as Size.
	Interval float64
}

func (s Smoothing) interval() float64 {
	if s.Interval == 0 {
		return s.Size
	}
	return s.Interval
}

// Forecast gives the expected demand per period after a history, oldest first.
// A history without demand gives 0. Croston's methods start with the first
// demand and its interval; TSB starts with the means of the history.
func Forecast(m Method, history []float64, s Smoothing) (float64, error) {
	if err := firstUnmet(inside("Smoothing.Size", s.Size), inside("Smoothing.Interval", s.interval())); err != nil {
		return 0, err
	}
	for _, d := range history {
		if err := firstUnmet(notNegative("history", d)); err != nil {
			return 0, err
		}
	}
	switch m {
	case SES:
		return smooth(history, s.Size), nil
	case Croston:
		return croston(history, s), nil
	case SBA:
		return croston(history, s) * (1 - s.interval()/2), nil
	case SBJ:
		return croston(history, s) * (1 - s.interval()/(2-s.interval())), nil
	case TSB:
		return fading(history, s, startOf(history)), nil
	default:
		return 0, &InputError{Field: "Method", Value: float64(m), Reason: "is not one of the methods"}
	}
}

func smooth(history []float64, alpha float64) float64 {
	if len(history) == 0 {
		return 0
	}
	level := history[0]
	for _, d := range history[1:] {
		level += alpha * (d - level)
	}
	return level
}

func croston(history []float64, s Smoothing) float64 {
	var size, interval, since float64
	for _, d := range history {
		since++
		if d == 0 {
			continue
		}
		if size == 0 {
			size, interval = d, since
		} else {
			size += s.Size * (d - size)
			interval += s.interval() * (since - interval)
		}
		since = 0
	}
	if size == 0 {
		return 0
	}
	return size / interval
}

// Start is what TSB begins with.
type Start struct {
	Size        float64
	Probability float64
}

func startOf(history []float64) Start {
	total, periods := 0.0, 0
	for _, d := range history {
		if d > 0 {
			total += d
			periods++
		}
	}
	if periods == 0 {
		return Start{}
	}
	return Start{Size: total / float64(periods), Probability: float64(periods) / float64(len(history))}
}

// fading is TSB from a given start.
func fading(history []float64, s Smoothing, start Start) float64 {
	size, probability := start.Size, start.Probability
	for _, d := range history {
		happened := 0.0
		if d > 0 {
			happened = 1
			size += s.Size * (d - size)
		}
		probability += s.interval() * (happened - probability)
	}
	return size * probability
}

// MethodFor is the method that suits a kind of demand: smoothing where demand
// is frequent, SBA where it is not.
func MethodFor(c Class) Method {
	switch c {
	case Intermittent, Lumpy:
		return SBA
	case Smooth, Erratic, NoDemand:
		return SES
	default:
		return SES
	}
}
