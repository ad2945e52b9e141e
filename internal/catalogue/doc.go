// Package catalogue is the workshop's knowledge of the cars that it repairs:
// what can be taken off and what blocks what, joints and their tightening
// stages, parts, fault codes, causes and tests. People write it as YAML that is
// the protobuf message itself; Load reads such a file and checks it.
//
// # Reading and checking
//
// Load reports every mistake of a file at once, each with its line, column,
// field path and the stable name of the rule that it breaks. The rules are small
// functions listed in rules(); each has a fixture in testdata/rules that holds
// exactly that mistake. An error keeps a catalogue out; a warning does not.
//
// # What a car is
//
// Facts says which values of each feature a given car can still have: known
// from the order, narrowed by the build date, or open until somebody looks.
// Conditions are answered yes, no or maybe, so that a plan can carry every
// alternative that a closed engine may still turn out to be.
package catalogue
