// Package demo holds the invented catalogues that come with the program: a
// petrol car that is rich in everything, and a diesel van with one classic job.
// Maker, cars and figures are made up; none of it is workshop data, and each
// catalogue's notice says so.
package demo

import (
	"embed"
	"fmt"

	"ramprow/internal/catalogue"
)

//go:embed *.yaml
var files embed.FS

// Catalogues loads the demo catalogues, sorted by file name. The error would be
// a defect of this build: the files are part of it.
func Catalogues() ([]*catalogue.Catalogue, error) {
	entries, err := files.ReadDir(".")
	if err != nil {
		return nil, fmt.Errorf("list demo catalogues: %w", err)
	}
	loaded := make([]*catalogue.Catalogue, 0, len(entries))
	for _, entry := range entries {
		data, err := files.ReadFile(entry.Name())
		if err != nil {
			return nil, fmt.Errorf("read demo catalogue: %w", err)
		}
		c, err := catalogue.Load("demo/"+entry.Name(), data)
		if err != nil {
			return nil, err
		}
		loaded = append(loaded, c)
	}
	return loaded, nil
}
