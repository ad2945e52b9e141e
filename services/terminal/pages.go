package terminal

import (
	"fmt"

	"github.com/spf13/cobra"
)

const (
	pageSize     = 200
	defaultLimit = 200
)

// limitFlag bounds a list; 0 reads all of it.
func limitFlag(command *cobra.Command, limit *int) {
	command.Flags().IntVar(limit, "limit", defaultLimit, "show at most so many; 0 shows all")
}

// collect reads page after page until the list or the limit ends.
func collect[M any](s *session, limit int, page func(size int32, token string) ([]M, string, error)) ([]M, error) {
	var all []M
	token := ""
	for {
		size := pageSize
		if limit > 0 {
			size = min(size, limit-len(all))
		}
		rows, next, err := page(int32(size), token)
		if err != nil {
			return nil, err
		}
		all = append(all, rows...)
		if next == "" {
			return all, nil
		}
		if limit > 0 && len(all) >= limit {
			_, _ = fmt.Fprintf(s.notes, "Only %d are shown; --limit 0 shows all.\n", len(all)) // an aside
			return all, nil
		}
		token = next
	}
}
