// Package flow measures how jobs go through a workshop: how many a day, how many
// at a time, where their time goes, how busy bays and people are, and which of
// them the rest waits for.
//
//	visit.go       what is known of one car's stay: marks in time
//	resource.go    bays and people, and when they could work
//	sweep.go       what lacks at each moment; the stage that each stretch belongs to
//	measure.go     the figures of a window
//	little.go      jobs present, and Little's law with its edges
//	station.go     busy and open time, and the bottleneck
//	queueing.go    published formulas: Erlang C, Kingman, Sakasegawa, Pollaczek and Khinchine
//	statistics.go  nearest ranks, Wilson's interval
//
// Times are whole nanoseconds and counts are whole numbers, so sums are exact and
// do not depend on the order in which they are made.
package flow
