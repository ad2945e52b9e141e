package personal

import (
	"context"
	"errors"
	"sync"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	commonv1 "ramprow/proto/ramprow/common/v1"
)

// What readers see in the place of a text that nobody can read any more.
const (
	// Erased: its key was destroyed.
	Erased = "(erased)"
	// Unreadable: there is no key and no sign that it was destroyed, or the text was changed.
	Unreadable = "(key missing)"
	// Away: the keys cannot be asked now.
	Away = "(not readable now)"
)

// Seal gives a copy of a message in which every personal text is sealed, and that
// shares everything else with it.
func Seal[M proto.Message](key *Key, message M) M {
	return rewrite(message, key.Seal)
}

// Opener opens sealed texts of one site.
type Opener struct {
	keys map[string]*Key
	find func(id string) (*Key, error)
	err  error // the first that was met
}

// Opener gives what opens texts of a site for the time of a call.
func (v *Vault) Opener(ctx context.Context, site string) *Opener {
	return &Opener{keys: map[string]*Key{}, find: func(id string) (*Key, error) { return v.Find(ctx, site, id) }}
}

// Given fetches keys beforehand and gives what opens with them alone: it asks
// nobody, so that a pure function may use it.
func (v *Vault) Given(ctx context.Context, site string, ids []string) (*Opener, error) {
	o := &Opener{keys: map[string]*Key{}}
	fate := map[string]error{}
	if v != nil {
		for _, id := range ids {
			key, err := v.Find(ctx, site, id)
			switch {
			case errors.Is(err, ErrNone), errors.Is(err, ErrDestroyed):
				fate[id] = err
			case err != nil:
				return nil, err
			default:
				o.keys[id] = key
			}
		}
	}
	o.find = func(id string) (*Key, error) {
		if err := fate[id]; err != nil {
			return nil, err
		}
		return nil, ErrNone
	}
	return o, nil
}

// Err is why some text could not be opened, other than that it was erased; nil if all could.
func (o *Opener) Err() error { return o.err }

// Text gives a text with everything sealed in it opened.
func (o *Opener) Text(text string) string {
	if !Sealed(text) {
		return text
	}
	return replace(text, o.one)
}

func (o *Opener) one(id, data string) string {
	key, known := o.keys[id]
	if !known {
		var err error
		key, err = o.find(id)
		switch {
		case errors.Is(err, ErrDestroyed):
			return Erased
		case errors.Is(err, ErrNone):
			o.note(err)
			return Unreadable
		case err != nil:
			o.note(err)
			return Away
		}
		o.keys[id] = key
	}
	text, err := key.open(data)
	if err != nil {
		o.note(err)
		return Unreadable
	}
	return text
}

// note keeps the first error, and rather one that may pass than a key that is gone.
func (o *Opener) note(err error) {
	if o.err == nil || errors.Is(o.err, ErrNone) && !errors.Is(err, ErrNone) {
		o.err = err
	}
}

// Open gives a copy of a message in which every personal text is opened, and that
// shares everything else with it; the message itself if nothing in it is sealed.
func Open[M proto.Message](o *Opener, message M) M {
	return rewrite(message, o.Text)
}

// Reveal opens what leaves in an answer. A key that is missing is no reason to
// withhold the rest: its place says so.
func (v *Vault) Reveal(ctx context.Context, site string, message proto.Message) proto.Message {
	if v == nil || message == nil {
		return message
	}
	return Open(v.Opener(ctx, site), message)
}

// IDs gives the keys that texts of a message are sealed under, each once.
func IDs(message proto.Message) []string {
	var ids []string
	seen := map[string]bool{}
	rewrite(message, func(text string) string {
		replace(text, func(id, _ string) string {
			if !seen[id] {
				seen[id] = true
				ids = append(ids, id)
			}
			return ""
		})
		return text
	})
	return ids
}

// Hide gives a text with everything sealed in it replaced by the sign that it was erased.
func Hide(text string) string { return replace(text, func(string, string) string { return Erased }) }

// Map gives a copy of a message with every personal text changed.
func Map[M proto.Message](message M, change func(string) string) M { return rewrite(message, change) }

func rewrite[M proto.Message](message M, change func(string) string) M {
	if !message.ProtoReflect().IsValid() {
		return message
	}
	after, changed := walk(message.ProtoReflect(), change)
	if !changed {
		return message
	}
	return after.Interface().(M) //nolint:forcetypeassert // made of the same type
}

// walk goes only where a message's type says that personal text can be.
func walk(m protoreflect.Message, change func(string) string) (protoreflect.Message, bool) {
	var after protoreflect.Message
	put := func(f protoreflect.FieldDescriptor, v protoreflect.Value) {
		if after == nil {
			after = shallow(m)
		}
		after.Set(f, v)
	}
	for _, f := range placesOf(m.Descriptor()) {
		if !m.Has(f) {
			continue
		}
		value := m.Get(f)
		switch {
		case f.IsList():
			if list, changed := walkList(f, value.List(), m, change); changed {
				put(f, list)
			}
		case f.Kind() == protoreflect.MessageKind:
			if inner, changed := walk(value.Message(), change); changed {
				put(f, protoreflect.ValueOfMessage(inner))
			}
		default:
			if text := change(value.String()); text != value.String() {
				put(f, protoreflect.ValueOfString(text))
			}
		}
	}
	return after, after != nil
}

func walkList(f protoreflect.FieldDescriptor, list protoreflect.List, m protoreflect.Message, change func(string) string) (protoreflect.Value, bool) {
	items, any := make([]protoreflect.Value, list.Len()), false
	for i := range list.Len() {
		items[i] = list.Get(i)
		if f.Kind() != protoreflect.MessageKind {
			text := change(items[i].String())
			any = any || text != items[i].String()
			items[i] = protoreflect.ValueOfString(text)
			continue
		}
		if inner, changed := walk(items[i].Message(), change); changed {
			items[i], any = protoreflect.ValueOfMessage(inner), true
		}
	}
	if !any {
		return protoreflect.Value{}, false
	}
	made := m.New().NewField(f).List()
	for _, item := range items {
		made.Append(item)
	}
	return protoreflect.ValueOfList(made), true
}

// shallow copies a message and shares what it points to.
func shallow(m protoreflect.Message) protoreflect.Message {
	c := m.New()
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		c.Set(f, v)
		return true
	})
	c.SetUnknown(m.GetUnknown())
	return c
}

// places are the fields of a type that hold personal text, or messages that may.
var places sync.Map // of []protoreflect.FieldDescriptor by full name

func placesOf(d protoreflect.MessageDescriptor) []protoreflect.FieldDescriptor {
	if found, ok := places.Load(d.FullName()); ok {
		return found.([]protoreflect.FieldDescriptor) //nolint:forcetypeassert // stored below
	}
	var list []protoreflect.FieldDescriptor
	for i := range d.Fields().Len() {
		f := d.Fields().Get(i)
		switch {
		case f.IsMap():
		case f.Kind() == protoreflect.StringKind:
			if IsPersonal(f) {
				list = append(list, f)
			}
		case f.Kind() == protoreflect.MessageKind && reaches(f.Message(), map[protoreflect.FullName]bool{}):
			list = append(list, f)
		}
	}
	places.Store(d.FullName(), list)
	return list
}

// reaches tells whether a message of a type can hold personal text. Maps are not gone into: none holds any.
func reaches(d protoreflect.MessageDescriptor, seen map[protoreflect.FullName]bool) bool {
	if seen[d.FullName()] {
		return false
	}
	seen[d.FullName()] = true
	for i := range d.Fields().Len() {
		f := d.Fields().Get(i)
		if f.IsMap() {
			continue
		}
		if f.Kind() == protoreflect.StringKind && IsPersonal(f) || f.Kind() == protoreflect.MessageKind && reaches(f.Message(), seen) {
			return true
		}
	}
	return false
}

// IsPersonal tells what a field's schema says of it.
func IsPersonal(f protoreflect.FieldDescriptor) bool {
	yes, ok := proto.GetExtension(f.Options(), commonv1.E_Personal).(bool)
	return ok && yes
}
