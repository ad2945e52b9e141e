// Package demoday fills a workshop with an invented, living day: cars come as
// they will, people diagnose, wait, work, tighten and bill, and the clerk buys
// what is short. Everything is done by the calls that people make. The same seed
// brings the same cars; time may run faster than the wall's.
package demoday
