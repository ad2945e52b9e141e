// Package chart watches whether tightening stays under control: control charts
// of readings, capability of a tool or a person, and the drift of a wrench
// over its checks.
//
// Constants are the handbook's, printed to three places; computed ones of more
// places are not mixed in, because they change the fourth digit of a result.
package chart
