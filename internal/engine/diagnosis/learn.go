package diagnosis

// Rate is what is known of a probability: a Beta distribution, as counts of cases with and without.
// It is conjugate to counting, so that cases may come in any order and may be taken back.
type Rate struct {
	With    float64
	Without float64
}

// RateFromPrior gives a catalogue's probability the weight of so many cases.
func RateFromPrior(probability, cases float64) Rate {
	return Rate{With: probability * cases, Without: (1 - probability) * cases}
}

// Observe adds cases of which so many had it. Negative numbers take cases back.
func (r Rate) Observe(with, cases float64) Rate {
	return Rate{With: r.With + with, Without: r.Without + cases - with}
}

// Mean is the expected probability.
func (r Rate) Mean() float64 { return r.With / (r.With + r.Without) }

// Variance of the probability.
func (r Rate) Variance() float64 {
	n := r.With + r.Without
	return r.With * r.Without / (n * n * (n + 1))
}

// Case is one finished job, as far as it teaches rates.
type Case struct {
	// Found are the causes that turned out to be present.
	Found []string
	// Observations are findings and test results that were made, as they stood at the end.
	Observations []Observation
}

// Learned is a model's rates after cases.
type Learned struct {
	// Priors by cause.
	Priors map[string]Rate
	// Effects by observation and cause: how often the finding or positive result was there when the cause
	// was the only one. Leaks by observation: when there was none.
	Effects map[string]map[string]Rate
	Leaks   map[string]Rate
}

// Learn counts cases on top of the model's own numbers, which weigh as much as priorCases cases of
// each kind. Only cases with at most one cause teach effects, because with several nobody knows
// which brought a finding about. Learning from all cases but one gives what was known without it.
func (m Model) Learn(cases []Case, priorCases float64) Learned {
	l := Learned{Priors: map[string]Rate{}, Effects: map[string]map[string]Rate{}, Leaks: map[string]Rate{}}
	for _, c := range m.Causes {
		l.Priors[c.ID] = RateFromPrior(c.Prior, priorCases)
	}
	for _, f := range m.Findings {
		l.start(f.ID, f.Leak, f.Effects, priorCases)
	}
	for _, t := range m.Tests {
		l.start(t.ID, t.FalsePositive, t.Positive, priorCases)
	}
	for _, c := range cases {
		l.count(c)
	}
	return l
}

func (l Learned) start(of string, leak float64, effects []Effect, priorCases float64) {
	l.Leaks[of] = RateFromPrior(leak, priorCases)
	l.Effects[of] = map[string]Rate{}
	for _, e := range effects {
		l.Effects[of][e.Cause] = RateFromPrior(e.Probability, priorCases)
	}
}

func (l Learned) count(c Case) {
	found := map[string]bool{}
	for _, id := range c.Found {
		found[id] = true
	}
	for id, rate := range l.Priors {
		l.Priors[id] = rate.Observe(indicator(found[id]), 1)
	}
	if len(c.Found) > 1 {
		return
	}
	for _, o := range c.Observations {
		if len(c.Found) == 0 {
			l.observe(l.Leaks, o.Of, o.Present)
		} else if _, tied := l.Effects[o.Of][c.Found[0]]; tied {
			l.observe(l.Effects[o.Of], c.Found[0], o.Present)
		} else {
			l.observe(l.Leaks, o.Of, o.Present)
		}
	}
}

func (l Learned) observe(rates map[string]Rate, key string, present bool) {
	if rate, known := rates[key]; known {
		rates[key] = rate.Observe(indicator(present), 1)
	}
}

func indicator(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// Apply is the model with learned rates in place of its own. A sensitivity that fell below the
// false positives is raised to them, since the model has no test that a fault makes negative.
func (m Model) Apply(l Learned) Model {
	out := m
	out.Causes, out.Findings, out.Tests = nil, nil, nil
	for _, c := range m.Causes {
		c.Prior = l.Priors[c.ID].Mean()
		out.Causes = append(out.Causes, c)
	}
	for _, f := range m.Findings {
		f.Leak, f.Effects = l.Leaks[f.ID].Mean(), l.effects(f.ID, f.Effects, 0)
		out.Findings = append(out.Findings, f)
	}
	for _, t := range m.Tests {
		t.FalsePositive = l.Leaks[t.ID].Mean()
		t.Positive = l.effects(t.ID, t.Positive, t.FalsePositive)
		out.Tests = append(out.Tests, t)
	}
	return out
}

func (l Learned) effects(of string, effects []Effect, least float64) []Effect {
	out := make([]Effect, len(effects))
	for i, e := range effects {
		out[i] = Effect{e.Cause, max(least, l.Effects[of][e.Cause].Mean())}
	}
	return out
}
