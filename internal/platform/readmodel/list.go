package readmodel

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/redis/go-redis/v9"
	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/fault"
)

const (
	defaultPageSize = 50
	maxPageSize     = 500
)

// ListQuery asks for one page of an index.
type ListQuery struct {
	Site, Model, Index string
	// Prefix keeps to entries whose Order begins with it.
	Prefix string
	// PageSize 0 means 50; more than 500 means 500.
	PageSize int
	// PageToken is Page.NextToken of the page before, of the same query.
	PageToken   string
	Descending  bool
	MinRevision uint64
}

// Page is one page, all of it from one revision.
type Page struct {
	Rows      []proto.Message
	NextToken string // empty: the last page
	Revision  uint64
}

// List reads one page; newRow makes an empty message of the rows' type. A row
// that moves within the index between two pages may be met twice or not at all.
// Errors: Invalid (page_size, page_token), Unavailable.
func (v *Views[S]) List(ctx context.Context, q ListQuery, newRow func() proto.Message) (Page, error) {
	l := &listing[S]{views: v, query: q}
	if err := l.prepare(); err != nil {
		return Page{}, err
	}
	revision, err := v.read(ctx, q.Site, q.MinRevision, l)
	if err != nil {
		return Page{}, err
	}
	page := Page{Revision: revision}
	if len(l.members) > l.size {
		page.NextToken = encodeToken(q, l.members[l.size-1])
		l.packed = l.packed[:l.size]
	}
	for _, packed := range l.packed {
		row := newRow()
		if err := decodeRow(packed, row); err != nil {
			return Page{}, err
		}
		page.Rows = append(page.Rows, row)
	}
	return page, nil
}

// listing reads one page and one row more, which tells whether there is a next.
type listing[S any] struct {
	views   *Views[S]
	query   ListQuery
	size    int
	prefix  string // escaped
	after   string // member that the page before ended with, or empty
	members []string
	packed  []string
}

func (l *listing[S]) prepare() (err error) {
	q := l.query
	if q.PageSize < 0 {
		return fault.New(fault.Invalid, "PAGE_SIZE_INVALID", "the page size cannot be negative").
			WithField("page_size", "must be 0 or more, and is %d", q.PageSize)
	}
	l.size = min(q.PageSize, maxPageSize)
	if l.size == 0 {
		l.size = defaultPageSize
	}
	l.prefix = escapeOrder(q.Prefix)
	l.after, err = decodeToken(q)
	return err
}

// pageScript reads position, members and rows in one atomic step, so that a page
// never mixes revisions. Row keys are made inside: they share the hash tag.
// KEYS: position, index. ARGV: command, from, to, limit, key of rows, end of order.
var pageScript = redis.NewScript(`
local position = redis.call('GET', KEYS[1])
if not position then return {} end
local members = redis.call(ARGV[1], KEYS[2], ARGV[2], ARGV[3], 'LIMIT', 0, ARGV[4])
if #members == 0 then return {position} end
local keys = {}
for i, member in ipairs(members) do
  local _, stop = string.find(member, ARGV[6], 1, true)
  keys[i] = ARGV[5] .. string.sub(member, stop + 1)
end
return {position, members, redis.call('MGET', unpack(keys))}`)

func (l *listing[S]) fromRedis(ctx context.Context, ks keyspace) (position, error) {
	command, from, to := l.bounds()
	keys := []string{ks.position(), ks.index(l.query.Model, l.query.Index)}
	answer, err := pageScript.Run(ctx, l.views.projector.Store.client, keys,
		command, from, to, l.size+1, ks.rowsOf(l.query.Model), orderEnd).Slice()
	if err != nil || len(answer) == 0 {
		return position{}, err
	}
	l.members, l.packed = nil, nil
	if len(answer) == 3 {
		l.members, l.packed = stringsIn(answer[1]), stringsIn(answer[2])
	}
	if len(l.members) != len(l.packed) {
		return position{}, fmt.Errorf("index %s of %s lists rows that are not there", l.query.Index, l.query.Model)
	}
	return decodePosition(answer[0]), nil
}

// stringsIn gives the strings of an answer that is an array.
func stringsIn(answer any) []string {
	values, _ := answer.([]any)
	var all []string
	for _, value := range values {
		if text, ok := value.(string); ok {
			all = append(all, text)
		}
	}
	return all
}

// bounds gives the page's limits in the notation of ZRANGEBYLEX.
func (l *listing[S]) bounds() (command, from, to string) {
	low, high := "-", "+"
	if l.prefix != "" {
		low = "[" + l.prefix
		if end, ok := prefixEnd(l.prefix); ok {
			high = "(" + end
		}
	}
	if l.query.Descending {
		if l.after != "" {
			high = "(" + l.after
		}
		return "ZREVRANGEBYLEX", high, low
	}
	if l.after != "" {
		low = "(" + l.after
	}
	return "ZRANGEBYLEX", low, high
}

// fromState answers the same from the state. It renders every row of the model:
// slow, but only used while Redis cannot answer.
func (l *listing[S]) fromState(state S) error {
	p := l.views.projector.Projection
	if err := p.listable(state, l.query); err != nil {
		return err
	}
	found := map[string]Key{}
	for _, key := range p.Keys(state, l.query.Model) {
		row, ok := p.Row(state, key)
		if !ok {
			continue
		}
		for _, e := range row.Index {
			if m := indexMember(e.Order, key.ID); e.Name == l.query.Index && l.includes(m) {
				found[m] = key
			}
		}
	}
	l.members, l.packed = l.cut(found), nil
	for _, m := range l.members {
		row, err := p.render(state, found[m])
		if err != nil {
			return fmt.Errorf("list %s: %w", l.query.Model, err)
		}
		l.packed = append(l.packed, string(row.value))
	}
	return nil
}

func (l *listing[S]) includes(m string) bool {
	if !strings.HasPrefix(m, l.prefix) {
		return false
	}
	if l.after == "" {
		return true
	}
	if l.query.Descending {
		return m < l.after
	}
	return m > l.after
}

// cut sorts the members and keeps as many as the script would give.
func (l *listing[S]) cut(found map[string]Key) []string {
	members := make([]string, 0, len(found))
	for m := range found {
		members = append(members, m)
	}
	slices.Sort(members)
	if l.query.Descending {
		slices.Reverse(members)
	}
	return members[:min(len(members), l.size+1)]
}
