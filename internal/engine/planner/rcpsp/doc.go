// Package rcpsp schedules one project under scarce resources: the
// resource-constrained project scheduling problem with the makespan as the
// objective, in the form of the public benchmark sets.
//
//	project ──> sampling by latest finish ──> population of left-justified schedules
//	                                              │ cross, decode backwards
//	                                              v
//	            best schedule <── population of right-justified schedules
//	                                              │ cross, decode forwards
//	                                              v  and so on, until the count is used up
//
// A child is decoded in the direction opposite to its parents', so that every
// single pass of the generation scheme also justifies the schedule (forward-backward
// improvement without passes of its own). The idea of two populations is by Debels
// and Vanhoucke (2005); the stretch of a parent that a child inherits whole is the
// one in which the resources are used best (Valls, Ballestín, Quintanilla, 2008), here
// better than by the other parent. Both are known here from the literature's descriptions, not from their code.
//
// The package is pure and deterministic for a seed. Times are whole periods.
package rcpsp
