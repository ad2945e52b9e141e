// Package record is the tightening record of one job as a file that shows any
// later change, and as a page to print.
//
// # The file
//
// JSON with six members:
//
//	format    "ramprow-tightening-record/1"
//	job       which car, whose, when the sheet was opened
//	start     hash of format and job
//	readings  every reading in the order in which it was posted; number runs
//	          from 1, and hash links it to the one before
//	result    joints, departures, signature, and how many readings there are
//	sum       hash of the last link and the result; it stands for all of it
//
// # The chain
//
// A hash is SHA-256 in lower-case hexadecimal of text in UTF-8. Canonical JSON
// is that of RFC 8785, so that blanks, line breaks, the order of members and
// the spelling of numbers and characters do not matter:
//
//	start          = SHA-256( canonical {"format": …, "job": …} )
//	readings[0]    = SHA-256( start       + "\n" + canonical reading without its hash )
//	readings[i]    = SHA-256( hash of i-1 + "\n" + canonical reading without its hash )
//	sum            = SHA-256( last hash   + "\n" + canonical result )
//
// The hashes cover every member of the objects, known here or not. The chain
// only ever grows: a reading that was a mistake stays, and a later one takes it
// out. So a record that was issued earlier is the beginning of a later one.
//
// # What it proves
//
// Whoever changes one value without computing all later hashes anew is found,
// and the first changed reading is named. Whoever computes them anew gets
// another sum: compare it with the printed page, which shows the sum and the
// beginning of each reading's hash, or with the workshop's log, which is
// chained itself.
package record
