package desk

import (
	"embed"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/reflect/protoreflect"
)

//go:embed words/*.json
var wordFiles embed.FS

// words is one language's message catalogue: a second language is a second file.
type words map[string]string

func loadWords(language string) (words, error) {
	data, err := wordFiles.ReadFile("words/" + language + ".json")
	if err != nil {
		return nil, fmt.Errorf("there are no words in %q: %w", language, err)
	}
	w := words{}
	if err := json.Unmarshal(data, &w); err != nil {
		return nil, fmt.Errorf("read the words in %q: %w", language, err)
	}
	return w, nil
}

// say gives the text of a key. A key that is missing shows itself; a test sees to it that none is.
func (w words) say(key string, args ...any) string {
	text, ok := w[key]
	if !ok {
		return key
	}
	if len(args) == 0 {
		return text
	}
	return fmt.Sprintf(text, args...)
}

// date writes a day of the week with its date; the names are in full, or ".short".
func (w words) date(at time.Time, length string) string {
	return w.say("date.order", w.nth("date.weekdays"+length, int(at.Weekday())), at.Day(), w.nth("date.months"+length, int(at.Month())-1))
}

// dayOfMonth writes a day without its year, as short as can be.
func (w words) dayOfMonth(at time.Time) string {
	return w.say("date.day", at.Day(), w.nth("date.months.short", int(at.Month())-1))
}

// nth gives a name out of a list of the catalogue; where a list is too short, the number.
func (w words) nth(list string, i int) string {
	names := strings.Fields(w[list])
	if i >= len(names) {
		return strconv.Itoa(i + 1)
	}
	return names[i]
}

// enum gives the word for a value of a service's enumeration.
func (w words) enum(e protoreflect.Enum) string {
	value := e.Descriptor().Values().ByNumber(e.Number())
	if value == nil || e.Number() == 0 {
		return ""
	}
	return w.say(enumKey(value))
}

// enumKey is as in JobState.in_work. The prefix is that of the zero value, which is always called …_UNSPECIFIED.
func enumKey(value protoreflect.EnumValueDescriptor) string {
	enum, _ := value.Parent().(protoreflect.EnumDescriptor)
	prefix := strings.TrimSuffix(string(enum.Values().ByNumber(0).Name()), "UNSPECIFIED")
	return string(enum.Name()) + "." + strings.ToLower(strings.TrimPrefix(string(value.Name()), prefix))
}

// done gives what a page says after an action: only what the catalogue knows, so
// that an address cannot put words into the page's mouth.
func (w words) done(key string) string {
	if key == "" {
		return ""
	}
	return w["done."+key]
}

func (w words) keys() []string { return slices.Sorted(maps.Keys(w)) }
