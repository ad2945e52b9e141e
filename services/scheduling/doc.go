// Package scheduling gives bays, people and special tools to jobs.
//
// What a job needs comes from the job's plan, whether its parts allow it from
// the inventory; both are noted as demand, in whichever order they come. As soon
// as both are known the job is booked, or says what it waits for. Everything that
// changes (resources, parts, findings, work that runs late) has the whole site
// planned anew by the engine internal/engine/planner, which moves as little as
// it can; only the difference becomes events.
//
// A booking is as long as four of five such jobs take. Its promise is when four of
// five runs of the whole plan have it done, so it is no earlier than the booking's
// end, and later where those before it on its bay, its person or its tools may keep
// it waiting. A promise stays until it is wrong by more than a quarter of an hour.
// Once work has begun the car does not leave its bay: such a booking grows or
// shrinks at its end, and the others follow.
//
// When bays, people and tools can be used comes from shifts or rosters, closed days,
// overtime, absences and maintenance (internal/workhours). Whoever changes one of
// them sees what it moves before; it is taken back by its own command, which plans
// anew, and not by the undo of moves: what was moved by it is nobody's wish. What the
// coming weeks can take is counted in hours: open, booked, and expected.
package scheduling
