package deploy

import (
	"bytes"
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
	dir := t.TempDir()
	one, two, root := filepath.Join(dir, "one"), filepath.Join(dir, "elsewhere", "two"), filepath.Join(dir, "root")
	// Most of it waits for a disk, the network or one processor.
	beside := func(t *testing.T, name string, do func(t *testing.T)) {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			do(t)
		})
	}
	t.Run("make", func(t *testing.T) {
		beside(t, "package", func(t *testing.T) { packaged(t, head, one) })
		beside(t, "Debian", func(t *testing.T) { freshDebian(t, root) })
	})
	found, err := filepath.Glob(filepath.Join(one, "out", "padlark_*_amd64.deb"))
	if err != nil || len(found) != 1 {
		t.Fatalf("packages: %v, %v", found, err)
	}
	deb := found[0]
	t.Run("look", func(t *testing.T) {
		beside(t, "same bytes elsewhere", func(t *testing.T) {
			if packaged(t, head, two); sums(t, one) != sums(t, two) {
				t.Errorf("the same source gives other bytes in another place:\n%s\n%s", sums(t, one), sums(t, two))
			}
		})
		beside(t, "lintian", func(t *testing.T) {
			if said := sh(t, "", "lintian", "--allow-root", "--fail-on", "none", deb); strings.TrimSpace(said) != "" {
				t.Error(said)
			}
		})
		beside(t, "use", func(t *testing.T) {
			if underSystemd() {
				serviceInDebian(t, root, deb)
			}
			useInDebian(t, root, deb)
		})
	})
}

// packaged builds the package from a clone of a commit, into the folder out beside it.
func packaged(t *testing.T, commit, dir string) {
	t.Helper()
	clone := filepath.Join(dir, "padlark")
	sh(t, "", "git", "clone", "-q", "--no-checkout", "..", clone)
	sh(t, clone, "git", "checkout", "-q", "--detach", commit)
	sh(t, clone, "bash", "deploy/package", filepath.Join(dir, "out"), "amd64")
}

// freshDebian makes the root of a Debian system, with its service manager where that
// is wanted.
func freshDebian(t *testing.T, root string) {
	t.Helper()
	more := "systemd-standalone-sysusers"
	if underSystemd() {
		more = "systemd,systemd-sysv,dbus"
	}
	sh(t, "", "debootstrap", "--variant=minbase", "--include=debconf,init-system-helpers,"+more, "bookworm", root)
	// It need not outlive a loss of power.
	if err := os.WriteFile(filepath.Join(root, "etc/dpkg/dpkg.cfg.d/quick"), []byte("force-unsafe-io\n"), 0o644); err != nil {
		t.Fatal(err)
	}
}

func sums(t *testing.T, dir string) string {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(dir, "out", "SHA256SUMS"))
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
func useInDebian(t *testing.T, root, deb string) {
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
	ready := notified(t, filepath.Join(root, "notify"))
	var log bytes.Buffer
	cmd := exec.CommandContext(t.Context(), "chroot", append([]string{"--userspec=padlark:padlark", root}, strings.Fields(line)...)...)
	cmd.Env = append(os.Environ(), "NOTIFY_SOCKET=/notify")
	cmd.Stdout, cmd.Stderr = &log, &log
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	rerr := ready()
	alive := exec.CommandContext(t.Context(), "chroot", root, "padlark", "alive", "http://"+pages).Run()
	if err := cmd.Process.Signal(syscall.SIGTERM); err != nil && !errors.Is(err, os.ErrProcessDone) {
		t.Fatal(err)
	}
	if err := cmd.Wait(); err != nil || rerr != nil || alive != nil {
		t.Fatalf("the installed station: ready %v, alive %v, ended with %v\n%s", rerr, alive, err, log.String())
	}
}

// notified listens as a service manager does (sd_notify(3)); what it returns waits
// until somebody says that it is ready.
func notified(t *testing.T, path string) (ready func() error) {
	t.Helper()
	l, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	if err == nil {
		err = os.Chmod(path, 0o777)
	}
	if err != nil {
		t.Fatal(err)
	}
	return func() error {
		defer os.Remove(path) //nolint:errcheck // in a folder for temporary files
		defer l.Close()       //nolint:errcheck // it was only read from
		if err := l.SetReadDeadline(time.Now().Add(2 * time.Minute)); err != nil {
			return err
		}
		for said := make([]byte, 4096); ; {
			n, err := l.Read(said)
			if err != nil {
				return fmt.Errorf("wait for READY=1: %w", err)
			}
			if bytes.Contains(said[:n], []byte("READY=1")) {
				return nil
			}
		}
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
