// Package partmaster reads and writes the part master as people exchange it:
// comma separated values with a line per part, and the barcodes on the parts.
//
//	column    one field of a part, by the name in the first line
//	row       one line, which changes a known part or lists a new one
//	mistake   what keeps a line out, with line and column
//
// A column that the file lacks leaves that field of a known part as it is; an
// empty cell empties the field. Stock is written for people to look at and is
// not read: only movements change it.
package partmaster
