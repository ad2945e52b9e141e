// Package fastening judges the tightening of bolted joints.
//
// A joint is a set of fasteners that are tightened in one order through the
// same stages. Its Track goes through them pass by pass:
//
//	joint ──Begin──> Track ──Next──> the fastener, stage and round that are due
//	                   │ ^
//	   reading, tool ──┤ └─ Apply: what counts moves the track on
//	                   └──> Judge: one of four verdicts, whether it counts, and why
//
// A reading counts only if it is the one that was due, the tool could measure
// it on that day, and its value is proved to lie inside the stage's window in
// spite of the tool's permissible deviation (ISO 14253-1: uncertainty counts
// against whoever has to prove). Nothing is overwritten: a correction takes a
// reading out, and the track is begun anew from what is left.
//
// Units: newton metres, degrees, millimetres, newtons; shares instead of
// percent.
package fastening
