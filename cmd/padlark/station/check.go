package station

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"time"

	"github.com/rs/zerolog"

	"padlark/cmd/padlark/config"
	"padlark/ingest"
	"padlark/web"
)

// Check says what a configuration asks for that cannot work on this computer:
// what only shows between its parts, and in the files and programs that it names.
// It opens no port and leaves nothing behind. A run that is to begin is checked
// by the same.
func Check(cfg *config.Config) error {
	if err := checkLinks(cfg); err != nil {
		return err
	}
	if err := errors.Join(checkListen("web.listen", cfg.Web.Listen), checkListen("bus.listen", cfg.Bus.Listen)); err != nil {
		return err
	}
	if cfg.Web.Listen != "off" {
		access, listen := web.Access{CrewHash: cfg.Web.Passphrase, ViewerHash: cfg.Web.Viewer}, cfg.Web.Listen
		if access.CrewHash == "" {
			listen = web.DefaultListen // for wider ones a passphrase is made at the start
		}
		if err := access.Validate(listen); err != nil {
			return err
		}
		if cfg.Web.Cert != "" {
			if _, err := pagesTLS(cfg, time.Now()); err != nil {
				return err
			}
		}
	}
	if _, err := busOptions(cfg, zerolog.Nop()); err != nil {
		return err
	}
	if _, err := uplinkOptions(cfg, zerolog.Nop()); err != nil {
		return err
	}
	if path := cfg.Bus.Creds; path != "" {
		if err := ingest.CheckSecret("bus.creds", path); err != nil {
			return err
		}
	}
	if cfg.Storage.Influx != nil {
		if _, err := InfluxOptions(cfg, zerolog.Nop()); err != nil {
			return err
		}
	}
	if len(cfg.Callout.Command) > 0 {
		if _, err := exec.LookPath(cfg.Callout.Command[0]); err != nil {
			return fmt.Errorf("callout.command: %w; install the program, or give its whole path", err)
		}
	}
	for _, l := range cfg.Links {
		if err := checkLink(l); err != nil {
			return err
		}
	}
	return checkFolder(cfg.Station.Data)
}

// checkLink looks for the program and the file that a link names.
func checkLink(l ingest.LinkConfig) error {
	if len(l.Command) > 0 {
		if _, err := exec.LookPath(l.Command[0]); err != nil {
			return fmt.Errorf("link %q: command: %w; install the program, or give its whole path", l.Name, err)
		}
	}
	if l.PasswordFile == "" {
		return nil
	}
	if _, err := ingest.ReadPassword(l.PasswordFile); err != nil {
		return fmt.Errorf("link %q: %w", l.Name, err)
	}
	return nil
}

// checkFolder says whether a folder is there to be written to, or can be made.
func checkFolder(dir string) error {
	at := dir
	for {
		st, err := os.Stat(at)
		if err == nil && !st.IsDir() {
			return fmt.Errorf("station.data = %q: %s is no folder", dir, at)
		}
		if err == nil {
			break
		}
		up := filepath.Dir(at)
		if !errors.Is(err, os.ErrNotExist) || up == at {
			return fmt.Errorf("station.data: %w", err)
		}
		at = up
	}
	probe, err := os.MkdirTemp(at, ".padlark-check-")
	if errors.Is(err, syscall.ENOSPC) {
		return nil // a full disk is no mistake of the configuration, and the watch goes on
	}
	if err != nil {
		var where *os.PathError
		if errors.As(err, &where) {
			err = where.Err // without the name that was tried
		}
		return fmt.Errorf("station.data = %q: nothing can be written to %s: %w", dir, at, err)
	}
	return os.Remove(probe)
}

// lookUpWithin bounds how long the name of an address may take.
const lookUpWithin = 3 * time.Second

// checkListen says what is wrong with an address to listen on: it must be one of this
// computer, or a name of it.
func checkListen(key, addr string) error {
	host, _, err := net.SplitHostPort(addr)
	if err != nil || host == "" {
		return nil // off, or all of this computer's
	}
	ctx, stop := context.WithTimeout(context.Background(), lookUpWithin)
	defer stop()
	ips, err := net.DefaultResolver.LookupIP(ctx, "ip", host)
	if err != nil {
		// How a look-up failed is another text each time.
		return fmt.Errorf("%s: no computer named %q is known here: write an address of this one, 127.0.0.1, or 0.0.0.0 for all", key, host)
	}
	own, err := net.InterfaceAddrs()
	for _, ip := range ips {
		is := func(a net.Addr) bool { n, ok := a.(*net.IPNet); return ok && n.IP.Equal(ip) }
		if err != nil || ip.IsLoopback() || ip.IsUnspecified() || slices.ContainsFunc(own, is) {
			return nil
		}
	}
	return fmt.Errorf("%s: %s is no address of this computer now: write one of %s, or 0.0.0.0 for all", key, host, addresses(own))
}

func addresses(own []net.Addr) string {
	var s []string
	for _, a := range own {
		if n, ok := a.(*net.IPNet); ok && !n.IP.IsLinkLocalUnicast() {
			s = append(s, n.IP.String())
		}
	}
	return strings.Join(s, ", ")
}
