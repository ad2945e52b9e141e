package terminal

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
)

// column is one column of a table of messages.
type column[M any] struct {
	title string
	cell  func(M) string
	right bool // for figures
}

// left and figure make columns.
func left[M any](title string, cell func(M) string) column[M] {
	return column[M]{title: title, cell: cell}
}

func figure[M any](title string, cell func(M) string) column[M] {
	return column[M]{title: title, cell: cell, right: true}
}

// showList shows rows as a table, or one object a line. Without rows a sentence
// says so, and what to do.
func showList[M proto.Message](s *session, rows []M, empty string, columns []column[M]) error {
	if s.json {
		for _, row := range rows {
			if err := s.showJSON(row); err != nil {
				return err
			}
		}
		return nil
	}
	if len(rows) == 0 {
		return s.say("%s", empty)
	}
	return writeTable(s.out, rows, columns)
}

// writeTable aligns cells by what a terminal shows: columns two spaces apart.
func writeTable[M any](w io.Writer, rows []M, columns []column[M]) error {
	grid := make([][]string, len(rows)+1)
	widths := make([]int, len(columns))
	for i := range grid {
		grid[i] = make([]string, len(columns))
		for j, c := range columns {
			text := c.title
			if i > 0 {
				text = oneLine(c.cell(rows[i-1]))
			}
			grid[i][j] = text
			widths[j] = max(widths[j], utf8.RuneCountInString(text))
		}
	}
	var b strings.Builder
	for _, cells := range grid {
		var line strings.Builder
		for j, text := range cells {
			gap := strings.Repeat(" ", widths[j]-utf8.RuneCountInString(text))
			if columns[j].right {
				line.WriteString(gap + text + "  ")
			} else {
				line.WriteString(text + gap + "  ")
			}
		}
		b.WriteString(strings.TrimRight(line.String(), " ") + "\n")
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// oneLine keeps a cell in its row, and a terminal's control characters out of
// it: cells hold what other people typed.
func oneLine(text string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f || r >= 0x80 && r < 0xa0 {
			return ' '
		}
		return r
	}, text)
}

// card shows one thing as labelled lines; lines without a value are left out.
type card struct {
	labels []string
	values []string
}

func (c *card) add(label, value string) {
	if value = oneLine(value); value != "" {
		c.labels = append(c.labels, label)
		c.values = append(c.values, value)
	}
}

func (c *card) write(w io.Writer) error {
	width := 0
	for _, l := range c.labels {
		width = max(width, utf8.RuneCountInString(l))
	}
	var b strings.Builder
	for i, l := range c.labels {
		b.WriteString(l + strings.Repeat(" ", width-utf8.RuneCountInString(l)) + "  " + c.values[i] + "\n")
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// showJSON writes a message as one line of JSON, in protobuf's own mapping.
func (s *session) showJSON(m proto.Message) error {
	text, err := protojson.Marshal(m)
	if err != nil {
		return fmt.Errorf("write JSON: %w", err)
	}
	var line bytes.Buffer
	if err := json.Compact(&line, text); err != nil { // protojson varies its spaces on purpose
		return fmt.Errorf("write JSON: %w", err)
	}
	line.WriteByte('\n')
	_, err = s.out.Write(line.Bytes())
	return err
}

// say writes one line for people.
func (s *session) say(format string, args ...any) error {
	_, err := fmt.Fprintf(s.out, format+"\n", args...)
	return err
}

// answer shows what a command brought about: in lines for people, or whole.
func (s *session) answer(m proto.Message, lines ...string) error {
	if s.json {
		return s.showJSON(m)
	}
	for _, line := range lines {
		if line == "" {
			continue
		}
		if err := s.say("%s", line); err != nil {
			return err
		}
	}
	return nil
}
