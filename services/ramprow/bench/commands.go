package bench

import (
	"context"
	"crypto/rand"
	"fmt"
	"sync/atomic"

	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/rpc"
	"ramprow/internal/platform/sitelog"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// CommandName says what the measured command is.
const CommandName = "inventory ReceiveGoods: one line of one part, each with a request_id of its own"

// shelf is a site at which goods are received.
type shelf struct {
	stand    *stand
	subject  sitelog.Subject
	token    string          // the clerk's
	ctx      context.Context //nolint:containedctx // carries the token, made once like a terminal's
	answered atomic.Int64    // commands
	revision newest          // of their receipts
}

// partsOnShelf is how many parts the callers share out among them.
const partsOnShelf = 64

func partNumber(caller int) string { return fmt.Sprintf("BENCH-%02d", caller%partsOnShelf) }

// newShelf lists the parts.
func newShelf(ctx context.Context, s *stand, site string) (*shelf, error) {
	token, err := s.workshop.Token(site, "bench", tokenLife, identity.PartsClerk)
	if err != nil {
		return nil, err
	}
	clerk := rpc.WithToken(ctx, token)
	for i := range partsOnShelf {
		_, err := s.inventory.SetPart(clerk, &inventoryv1.SetPartRequest{RequestId: rand.Text(), Part: &inventoryv1.Part{
			Number: partNumber(i), Title: "Oil filter for measuring", Unit: commonv1.Unit_UNIT_PIECE,
			Price: &commonv1.Money{CurrencyCode: "EUR", MinorUnits: 1490}, PriceQuantity: 1,
			Supplier: "northway", LeadTimeDays: 2, Bin: "A-01",
		}})
		if err != nil {
			return nil, fmt.Errorf("list %s: %w", partNumber(i), err)
		}
	}
	return &shelf{stand: s, subject: sitelog.Subject{Service: "inventory", Site: site}, token: token, ctx: clerk}, nil
}

// clerk gives a context in which calls are made by the site's clerk.
func (s *shelf) clerk(ctx context.Context) context.Context { return rpc.WithToken(ctx, s.token) }

func goods(caller int) *inventoryv1.ReceiveGoodsRequest {
	return &inventoryv1.ReceiveGoodsRequest{
		RequestId: rand.Text(),
		Lines:     []*inventoryv1.ReceivedLine{{Part: partNumber(caller), Quantity: 1}},
	}
}

// receive sends one command and waits until it is on disk.
func (s *shelf) receive(ctx context.Context, caller int) (*inventoryv1.ReceiveGoodsResponse, error) {
	response, err := s.stand.inventory.ReceiveGoods(ctx, goods(caller))
	if err != nil {
		return nil, err
	}
	s.answered.Add(1)
	s.revision.note(response.GetReceipt().GetRevision())
	return response, nil
}

// newest is the newest of the revisions that many callers are answered with.
type newest struct{ atomic.Uint64 }

func (n *newest) note(revision uint64) {
	for {
		known := n.Load()
		if revision <= known || n.CompareAndSwap(known, revision) {
			return
		}
	}
}

// settle waits until the read models have what the commands wrote, so that they
// do not disturb the next leg.
func (s *shelf) settle(ctx context.Context) error {
	_, err := s.stand.inventory.GetPart(ctx, &inventoryv1.GetPartRequest{Part: partNumber(0), MinRevision: s.revision.Load()})
	if err != nil {
		return fmt.Errorf("wait for the read models: %w", err)
	}
	return nil
}

// commitSize is the size in bytes of the newest commit with its headers.
func (s *shelf) commitSize(ctx context.Context) (int, error) {
	last, err := s.stand.workshop.Backend.Log.Last(ctx, s.subject)
	if err != nil {
		return 0, err
	}
	return recordSize(last), nil
}

func recordSize(r sitelog.Record) int {
	size := len(r.Data)
	for key, value := range r.Header {
		size += len(key) + len(": ") + len(value) + len("\r\n")
	}
	return size
}

// Counted is what the log holds of the commands that were answered.
type Counted struct {
	Answered int `json:"answered"`
	InLog    int `json:"in_log"`
	Commits  int `json:"commits"`
}

// count reads the whole log of the site.
func (s *shelf) count(ctx context.Context) (Counted, error) {
	return countMethod(ctx, s.stand.workshop.Backend.Log, s.subject, inventoryv1.InventoryService_ReceiveGoods_FullMethodName, int(s.answered.Load()))
}

// countMethod reads a whole log and counts a method's commands. There must be as
// many as were answered.
func countMethod(ctx context.Context, log sitelog.Log, subject sitelog.Subject, method string, answered int) (Counted, error) {
	c := Counted{Answered: answered}
	err := log.Read(ctx, subject, 0, func(r sitelog.Record) error {
		commit, err := sitelog.DecodeCommit(r.Data)
		if err != nil {
			return err
		}
		before := c.InLog
		for _, entry := range commit.GetEntries() {
			if entry.GetCommand().GetMethod() == method {
				c.InLog++
			}
		}
		if c.InLog > before {
			c.Commits++
		}
		return nil
	})
	if err != nil {
		return Counted{}, fmt.Errorf("count the log: %w", err)
	}
	if c.Answered != c.InLog {
		return c, fmt.Errorf("%d commands were answered, and %d are in the log", c.Answered, c.InLog)
	}
	return c, nil
}

// hollow answers ReceiveGoods as the shelf did once, with nothing behind it.
type hollow struct {
	inventoryv1.UnimplementedInventoryServiceServer

	answer atomic.Pointer[inventoryv1.ReceiveGoodsResponse]
}

// ReceiveGoods implements InventoryServiceServer.
func (h *hollow) ReceiveGoods(context.Context, *inventoryv1.ReceiveGoodsRequest) (*inventoryv1.ReceiveGoodsResponse, error) {
	return h.answer.Load(), nil
}
