package desk

import (
	"os"
	"path/filepath"
	"strings"
	"time"
)

// localZone is the name that the machine has for its own zone, by the TZ variable or where /etc/localtime leads; UTC if
// it has none that can be loaded.
func localZone() string {
	name := strings.TrimPrefix(os.Getenv("TZ"), ":")
	if name == "" {
		path, err := filepath.EvalSymlinks("/etc/localtime")
		if err != nil {
			return ""
		}
		_, name, _ = strings.Cut(path, "zoneinfo/")
	}
	if _, err := time.LoadLocation(name); err != nil {
		return ""
	}
	return name
}
