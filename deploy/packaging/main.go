// Command packaging makes a Debian package of a folder that is laid out as the
// package shall be installed. It is a module of its own to keep what it needs
// out of weepd's; deploy/package runs it.
package main

import (
	"cmp"
	"embed"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/goreleaser/nfpm/v2"
	"github.com/goreleaser/nfpm/v2/deb"
	"github.com/goreleaser/nfpm/v2/files"
)

//go:embed scripts
var scripts embed.FS

const description = `looks after packed glands at a pump station
 Counts the drops that a packed gland must weep, follows its temperature over a
 reference, and raises an alarm when it runs dry, burns, leaks or gushes.
 Publishes over MQTT and to Prometheus. It is no safety system.`

func main() {
	stage := flag.String("stage", "", "folder laid out as it shall be installed")
	arch := flag.String("arch", "", "architecture, in Debian's words")
	version := flag.String("version", "", "version of the package")
	out := flag.String("out", "", "file to write")
	flag.Parse()
	if err := pack(*stage, *arch, *version, *out); err != nil {
		fmt.Fprintln(os.Stderr, "packaging:", err)
		os.Exit(1)
	}
}

func pack(stage, arch, version, out string) error {
	seconds, err := strconv.ParseInt(os.Getenv("SOURCE_DATE_EPOCH"), 10, 64)
	if err != nil {
		return fmt.Errorf("SOURCE_DATE_EPOCH: %w", err)
	}
	stamp := time.Unix(seconds, 0).UTC()
	contents, err := contentsOf(stage, stamp)
	if err != nil {
		return err
	}
	maintainer, remove, err := writeScripts()
	if err != nil {
		return err
	}
	defer remove()
	info := &nfpm.Info{
		Name: "weepd", Arch: arch, Platform: "linux", Version: version, VersionSchema: "none",
		Section: "misc", Priority: "optional", Maintainer: "weepd <weepd@localhost>",
		Description: description, MTime: stamp, DisableGlobbing: true,
		Overridables: nfpm.Overridables{
			Depends: []string{"adduser", "init-system-helpers (>= 1.54)"}, Recommends: []string{"ca-certificates", "systemd"},
			Contents: contents, Scripts: maintainer,
		},
	}
	if err := nfpm.PrepareForPackager(nfpm.WithDefaults(info), "deb"); err != nil {
		return err
	}
	return write(out, func(w io.Writer) error { return deb.Default.Package(info, w) })
}

// contentsOf lists the files of stage. Those below /etc belong to the
// station's people: dpkg never overwrites what they have changed.
func contentsOf(stage string, stamp time.Time) (files.Contents, error) {
	var contents files.Contents
	err := filepath.WalkDir(stage, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		target := strings.TrimPrefix(path, stage)
		kind := ""
		if strings.HasPrefix(target, "/etc/") {
			kind = files.TypeConfig
		}
		contents = append(contents, &files.Content{
			Source: path, Destination: target, Type: kind,
			FileInfo: &files.ContentFileInfo{Owner: "root", Group: "root", Mode: info.Mode().Perm(), MTime: stamp},
		})
		return nil
	})
	return contents, err
}

// writeScripts lays the scripts down for nfpm, which wants files.
func writeScripts() (nfpm.Scripts, func(), error) {
	dir, err := os.MkdirTemp("", "weepd-scripts-")
	if err != nil {
		return nfpm.Scripts{}, nil, err
	}
	remove := func() { _ = os.RemoveAll(dir) }
	if err := os.CopyFS(dir, scripts); err != nil {
		remove()
		return nfpm.Scripts{}, nil, err
	}
	at := func(name string) string { return filepath.Join(dir, "scripts", name) }
	return nfpm.Scripts{PostInstall: at("postinst"), PreRemove: at("prerm"), PostRemove: at("postrm")}, remove, nil
}

func write(path string, content func(io.Writer) error) error {
	file, err := os.Create(path) //nolint:gosec // the caller names it
	if err != nil {
		return err
	}
	err = content(file)
	return cmp.Or(err, file.Close())
}
