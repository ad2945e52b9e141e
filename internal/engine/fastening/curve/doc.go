// Package curve reads torque over angle as an electronic wrench records it:
// where the joint became snug, how stiff it is, whether the bolt yielded, and
// the signatures of a bad thread.
//
//	samples ──sliding fit──> slopes ──longest steady run──> elastic line
//	                                                         │ tangent to zero: snug
//	                                                         └ slope falls for good: yield
//
// Snug and yield are approximations even for the tightening system itself, so
// a report says which thresholds it used, and "not seen" is an answer. The
// thresholds are common practice without a source, except where one is named.
// Every step is linear in the number of samples.
package curve
