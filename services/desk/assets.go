package desk

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"io/fs"
	"net/http"
	"strings"
)

// The scripts htmx (2.0.11) and its extension for server-sent events (2.2.4) come
// from their npm packages as they are, under the Zero-Clause BSD licence.
//
//go:embed assets/*
var assetFiles embed.FS

// tagAssets hashes every file: its address changes with its content, so a browser may keep it for good.
func tagAssets() (map[string]string, error) {
	tags := map[string]string{}
	err := fs.WalkDir(assetFiles, "assets", func(path string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		data, err := assetFiles.ReadFile(path)
		if err != nil {
			return err
		}
		sum := sha256.Sum256(data)
		tags[strings.TrimPrefix(path, "assets/")] = hex.EncodeToString(sum[:6])
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("read the desk's files: %w", err)
	}
	return tags, nil
}

// asset gives the address of a file.
func (d *Desk) asset(name string) string { return "/assets/" + name + "?v=" + d.assetTags[name] }

func serveAssets() http.Handler {
	files := http.FileServerFS(assetFiles)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if strings.HasSuffix(r.URL.Path, "/") {
			http.NotFound(w, r)
			return
		}
		if r.URL.Query().Has("v") {
			w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
		}
		files.ServeHTTP(w, r)
	})
}
