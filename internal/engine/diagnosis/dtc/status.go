package dtc

// Status is the status byte of ISO 14229-1 clause D.2.
type Status byte

// The status bits.
const (
	TestFailed                Status = 1 << iota // fails now
	FailedThisCycle                              // has failed in this operation cycle
	Pending                                      // failed in this or the last completed cycle
	Confirmed                                    // failed often enough to be stored
	NotCompletedSinceClear                       // not tested yet since codes were cleared
	FailedSinceClear                             // has failed since codes were cleared
	NotCompletedThisCycle                        // not tested yet in this operation cycle
	WarningIndicatorRequested                    // lights the lamp
)

// AfterClear is the status right after codes were cleared.
const AfterClear = NotCompletedSinceClear | NotCompletedThisCycle

// Has reports whether all of the bits are set.
func (s Status) Has(bits Status) bool { return s&bits == bits }

// Names lists the bits that are set, in the standard's names, the lowest first.
func (s Status) Names() []string {
	names := [8]string{
		"testFailed", "testFailedThisOperationCycle", "pendingDTC", "confirmedDTC",
		"testNotCompletedSinceLastClear", "testFailedSinceLastClear",
		"testNotCompletedThisOperationCycle", "warningIndicatorRequested",
	}
	var out []string
	for i, n := range names {
		if s&(1<<i) != 0 {
			out = append(out, n)
		}
	}
	return out
}

// PassedThisCycle says that the code was tested in this cycle and has not failed in it, which is
// what is hoped for after a repair. A unit that reports a failure now beside it contradicts itself
// and is not believed.
func (s Status) PassedThisCycle() bool {
	return s&(NotCompletedThisCycle|FailedThisCycle|TestFailed) == 0
}

// Matches is the standard's filter: some bit is set that is asked for and that the control unit
// supports.
func (s Status) Matches(mask, availability Status) bool { return s&mask&availability != 0 }

// Weight is how far the code speaks of the car as it is now, in [0, 1]: what failed in this cycle counts
// fully, what is pending less, what is only stored or failed some time since clearing still less, and
// what was never seen to fail says nothing. The steps are judgement and have no source.
func (s Status) Weight() float64 {
	switch {
	case s&(TestFailed|FailedThisCycle) != 0:
		return 1
	case s.Has(Pending):
		return 0.8
	case s.Has(Confirmed):
		return 0.5
	case s.Has(FailedSinceClear):
		return 0.3
	default:
		return 0
	}
}
