package desk

import (
	"context"
	"strconv"
	"strings"
	"sync"

	cataloguev1 "ramprow/proto/ramprow/catalogue/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

const maxCatalogues = 64

// vehicles remembers editions of catalogues: an edition never changes.
type vehicles struct {
	job jobv1.JobServiceClient

	mu    sync.Mutex
	known map[string]*cataloguev1.Catalogue // by site and version
}

func newVehicles(job jobv1.JobServiceClient) *vehicles {
	return &vehicles{job: job, known: map[string]*cataloguev1.Catalogue{}}
}

// edition gives the catalogue of a version, as in marlow-orrin@3+1f0c….
func (c *vehicles) edition(ctx context.Context, site, version string) (*cataloguev1.Catalogue, error) {
	key := site + "/" + version
	c.mu.Lock()
	found := c.known[key]
	c.mu.Unlock()
	if found != nil {
		return found, nil
	}
	id, edition, _ := strings.Cut(version, "@")
	edition, _, _ = strings.Cut(edition, "+") // what follows tells one content of an edition from another
	number, err := strconv.ParseUint(edition, 10, 32)
	if err != nil {
		return nil, badField("catalogue", "must be as in name@3+hash")
	}
	r, err := c.job.GetCatalogue(ctx, &jobv1.GetCatalogueRequest{Catalogue: id, Edition: uint32(number)})
	if err != nil {
		return nil, err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if len(c.known) >= maxCatalogues {
		clear(c.known)
	}
	c.known[key] = r.GetCatalogue()
	return r.GetCatalogue(), nil
}
