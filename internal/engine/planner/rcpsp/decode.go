package rcpsp

// decoder turns lists of activities into schedules. It keeps its profile, so
// each goroutine needs its own.
type decoder struct {
	// free[w][t] is what is left of the resources of word w in period t.
	free [][]uint64
	used int32 // periods that the last schedule touched
}

func newDecoder(w *network) *decoder {
	d := &decoder{free: make([][]uint64, len(w.full))}
	for i, full := range w.full {
		d.free[i] = make([]uint64, w.horizon+1)
		for t := range d.free[i] {
			d.free[i][t] = full
		}
	}
	return d
}

func (d *decoder) reset(w *network) {
	for i, full := range w.full {
		row := d.free[i][:d.used]
		for t := range row {
			row[t] = full
		}
	}
	d.used = 0
}

// serial is the serial generation scheme: each activity in the order of the
// list, as early as its predecessors and the resources allow. The list must not
// name an activity before its predecessors. It fills finish and gives the
// makespan. Cost: activities times the periods that are looked at.
func (d *decoder) serial(w *network, list, finish []int32) int32 {
	d.reset(w)
	for _, a := range list {
		var start int32
		for _, p := range w.preds[a] {
			start = max(start, finish[p])
		}
		duration := w.durations[a]
		if duration > 0 {
			start = d.fit(w, a, start)
			d.take(w, a, start)
		}
		finish[a] = start + duration
		d.used = max(d.used, finish[a])
	}
	return d.used
}

// fit gives the first start from which on the activity has what it needs.
func (d *decoder) fit(w *network, a, start int32) int32 {
	for again := true; again; {
		again = false
		for i, row := range d.free {
			moved := lack(row, w.need[i][a], start, w.durations[a], d.used)
			// A later start must be looked at again in the words before this one.
			again = again || moved > start && i > 0
			start = moved
		}
	}
	return start
}

// lack gives the first start not before the given one from which on a row has
// the need in every period. Looking from the end finds the latest lack, so most is
// skipped at once; from period used on everything is free.
func lack(row []uint64, need uint64, start, duration, used int32) int32 {
	if need == 0 {
		return start
	}
	for t := min(start+duration, used) - 1; t >= start; t-- {
		if ((row[t]|guardBits)-need)&guardBits != guardBits {
			start = t + 1
			t = min(start+duration, used)
		}
	}
	return start
}

func (d *decoder) take(w *network, a, start int32) {
	for i := range d.free {
		if need := w.need[i][a]; need != 0 {
			row := d.free[i][start : start+w.durations[a]]
			for t := range row {
				row[t] -= need
			}
		}
	}
}
