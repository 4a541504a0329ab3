package deploy

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"padlark/storage/influx/influxtest"
)

// TestPackage builds the Debian package in two places, wants the same bytes from
// both and no complaint of lintian, and then does with it in a fresh Debian what
// people do: install, run, update, remove, purge.
func TestPackage(t *testing.T) {
	for _, tool := range []string{"dpkg-deb", "lintian", "debootstrap", "git"} {
		if _, err := exec.LookPath(tool); err != nil {
			influxtest.Missing(t, tool+" is not here: apt-get install "+tool)
		}
	}
	if os.Getenv("PADLARK_CI") == "" {
		t.Skip("takes minutes; PADLARK_CI=1 runs it")
	}
	if os.Getuid() != 0 {
		t.Skip("a fresh Debian can be made by root only")
	}
	head := strings.TrimSpace(sh(t, "", "git", "rev-parse", "HEAD"))
	out := packaged(t, head, "one")
	if again := packaged(t, head, "elsewhere/two"); sums(t, out) != sums(t, again) {
		t.Errorf("the same source gives other bytes in another place:\n%s\n%s", sums(t, out), sums(t, again))
	}
	found, err := filepath.Glob(filepath.Join(out, "padlark_*_amd64.deb"))
	if err != nil || len(found) != 1 {
		t.Fatalf("packages: %v, %v", found, err)
	}
	deb := found[0]
	t.Run("lintian", func(t *testing.T) {
		if said := sh(t, "", "lintian", "--allow-root", "--fail-on", "none", deb); strings.TrimSpace(said) != "" {
			t.Error(said)
		}
	})
	t.Run("fresh Debian", func(t *testing.T) { useInDebian(t, deb) })
}

// packaged builds the package from a clone of a commit.
func packaged(t *testing.T, commit, place string) string {
	t.Helper()
	clone := filepath.Join(t.TempDir(), place)
	sh(t, "", "git", "clone", "-q", "--no-checkout", "..", clone)
	sh(t, clone, "git", "checkout", "-q", "--detach", commit)
	out := filepath.Join(t.TempDir(), "out")
	sh(t, clone, "bash", "deploy/package", out, "amd64")
	return out
}

func sums(t *testing.T, dir string) string {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(dir, "SHA256SUMS"))
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

// sh runs a program in a folder and returns all that it prints; a failure ends
// the test.
func sh(t *testing.T, dir, name string, args ...string) string {
	t.Helper()
	cmd := exec.Command(name, args...)
	cmd.Dir = dir
	cmd.Env = append(os.Environ(), "LC_ALL=C", "DEBIAN_FRONTEND=noninteractive")
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%s %s: %v\n%s", name, strings.Join(args, " "), err, out)
	}
	return string(out)
}

// useInDebian installs, runs, updates, removes and purges a package.
func useInDebian(t *testing.T, deb string) {
	root := filepath.Join(t.TempDir(), "root")
	sh(t, "", "debootstrap", "--variant=minbase", "--include=debconf,init-system-helpers,systemd-standalone-sysusers", "bookworm", root)
	in := func(args ...string) string { return sh(t, "", "chroot", append([]string{root}, args...)...) }

	// What is updated is the same program under a lower number.
	older := filepath.Join(t.TempDir(), "older")
	sh(t, "", "dpkg-deb", "-R", deb, older)
	sh(t, older, "sed", "-i", "s/^Version: .*/Version: 0.0.1/", "DEBIAN/control")
	sh(t, "", "dpkg-deb", "-Znone", "-b", older, filepath.Join(root, "older.deb"))
	sh(t, "", "cp", deb, filepath.Join(root, "newer.deb"))

	in("dpkg", "-i", "/older.deb")
	if said := in("su", "-s", "/bin/sh", "padlark", "-c", "id"); !strings.Contains(said, "(dialout)") {
		t.Errorf("the station's user may not use serial ports: %s", said)
	}
	if said := in("stat", "-c", "%U %G %a", "/var/lib/padlark", "/etc/padlark/padlark.toml"); said != "padlark padlark 750\nroot padlark 640\n" {
		t.Errorf("owners and modes:\n%s", said)
	}
	config := filepath.Join(root, "etc/padlark/padlark.toml")
	pages := freeAddr(t)
	text := fmt.Sprintf("[station]\nname = \"edited\"\ndata = \"/var/lib/padlark\"\n[[link]]\nname = \"wifi\"\nudp = \"127.0.0.1:0\"\nlayout = \"lark-text\"\n[web]\nlisten = %q\n", pages)
	if err := os.WriteFile(config, []byte(text), 0o640); err != nil {
		t.Fatal(err)
	}
	runs(t, root, pages)
	in("dpkg", "-i", "--force-confold", "/newer.deb")
	if kept, err := os.ReadFile(config); err != nil || string(kept) != text {
		t.Errorf("the configuration after the update (%v):\n%s", err, kept)
	}
	if said := in("padlark", "version"); strings.Contains(said, "0.0.1") {
		t.Errorf("after the update: %s", said)
	}
	runs(t, root, pages)
	if n := strings.Count(in("padlark", "sessions", "--json", "--data", "/var/lib/padlark"), `"session"`); n < 1 {
		t.Error("the sessions from before the update are gone")
	}
	data := filepath.Join(root, "var/lib/padlark/padlark.db")
	here := func(when string, want bool) {
		t.Helper()
		if _, err := os.Stat(data); (err == nil) != want {
			t.Errorf("%s: recordings are there: %v, want %v", when, err == nil, want)
		}
	}
	in("dpkg", "-r", "padlark")
	here("removed", true)
	in("dpkg", "-P", "padlark")
	here("purged, and nobody said that they may go", true)
	in("dpkg", "-i", "/newer.deb")
	in("sh", "-c", "echo 'padlark padlark/purge_data boolean true' | debconf-set-selections")
	in("dpkg", "-P", "padlark")
	here("purged, and somebody said so", false)
	if left := in("sh", "-c", "find / -xdev -path /proc -prune -o -name '*padlark*' -print"); strings.TrimSpace(left) != "" {
		t.Errorf("left behind:\n%s", left)
	}
}

// runs starts the installed service's command as its user, waits until it is
// well, and stops it like the service manager.
func runs(t *testing.T, root, pages string) {
	t.Helper()
	unit, err := os.ReadFile(filepath.Join(root, "usr/lib/systemd/system/padlark.service"))
	if err != nil {
		t.Fatal(err)
	}
	_, line, ok := strings.Cut(string(unit), "\nExecStart=")
	if !ok {
		t.Fatal("the unit starts nothing")
	}
	line, _, _ = strings.Cut(line, "\n")
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	var log bytes.Buffer
	cmd := exec.CommandContext(ctx, "chroot", append([]string{"--userspec=padlark:padlark", root}, strings.Fields(line)...)...)
	cmd.Stdout, cmd.Stderr = &log, &log
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	well := false
	for !well && ctx.Err() == nil {
		well = exec.CommandContext(ctx, "chroot", root, "padlark", "alive", "http://"+pages).Run() == nil
		if !well {
			time.Sleep(100 * time.Millisecond) // there is nothing to wait on before it listens
		}
	}
	if err := cmd.Process.Signal(syscall.SIGTERM); err != nil && !errors.Is(err, os.ErrProcessDone) {
		t.Fatal(err)
	}
	if err := cmd.Wait(); err != nil || !well {
		t.Fatalf("the installed station: well %v, ended with %v\n%s", well, err, log.String())
	}
}

func freeAddr(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close() //nolint:errcheck // only its number was wanted
	return l.Addr().String()
}
