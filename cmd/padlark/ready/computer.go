package ready

import (
	"errors"
	"fmt"
	"io/fs"
	"net"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"padlark/storage"
	"padlark/storage/sqlite"
)

// Bounds of what is good. Those of the disk follow from what is promised: in
// flight the journal is on the disk every 0.15 s; below 64 MB free, journals are
// given up.
const (
	diskSlow   = 150 * time.Millisecond
	diskLittle = 1 << 30
	diskBad    = 64 << 20
	syncs      = 8
	hot        = 70.0 // degC; small processors slow down from 80 on (common practice, no source)
	tooHot     = 80.0
	cellLow    = 20.0 // per cent
	memoryFew  = 64 << 20
)

// disk times the disk of the data folder and looks at its room.
func (l *look) disk() {
	dir := l.cfg.Station.Data
	for { // the station makes what is missing
		if _, err := os.Stat(dir); err == nil || !errors.Is(err, fs.ErrNotExist) {
			break
		}
		up := filepath.Dir(dir)
		if up == dir {
			break
		}
		dir = up
	}
	took, err := syncTimes(dir)
	if err != nil {
		l.say("disk", Bad, dir+" cannot be written to: "+plain(err), "make room, mount the card for writing, or give the folder to the user "+me())
		return
	}
	free, known := storage.Free(dir)
	words := fmt.Sprintf("a write is on the disk after %s (at most %s)", ms(took[len(took)/2]), ms(took[len(took)-1]))
	if known {
		words += fmt.Sprintf("; %.1f GB free", float64(free)/1e9)
	}
	switch {
	case known && free < diskBad:
		l.say("disk", Bad, words, "make room: below 64 MB free the oldest journals are given up")
	case known && free < diskLittle:
		l.say("disk", Look, words, "make room: a day of eight rockets takes some 100 MB")
	case took[len(took)-1] > diskSlow:
		l.say("disk", Look, words, "take a faster card: after a power cut more than the last 0.2 s of a flight can be missing")
	default:
		l.say("disk", Good, words, "")
	}
}

// syncTimes is how long it takes until a few small writes are on the disk,
// sorted.
func syncTimes(dir string) ([]time.Duration, error) {
	f, err := os.CreateTemp(dir, ".padlark-ready-")
	if err != nil {
		return nil, err
	}
	defer os.Remove(f.Name()) //nolint:errcheck // it is empty or small
	defer f.Close()           //nolint:errcheck // nobody reads it
	took := make([]time.Duration, syncs)
	for i := range took {
		start := time.Now()
		if _, err := f.Write(make([]byte, 4096)); err != nil {
			return nil, err
		}
		if err := f.Sync(); err != nil {
			return nil, err
		}
		took[i] = time.Since(start)
	}
	slices.Sort(took)
	return took, nil
}

// ms is a duration for people.
func ms(d time.Duration) string {
	if d < time.Millisecond {
		return "under 1 ms"
	}
	return fmt.Sprintf("%d ms", d.Milliseconds())
}

// archive looks whether the archive can be read.
func (l *look) archive() {
	file := filepath.Join(l.cfg.Station.Data, sqlite.FileName)
	if _, err := os.Stat(file); errors.Is(err, fs.ErrNotExist) {
		l.say("archive", Good, "there is none yet; the station makes it", "")
		return
	}
	a, err := sqlite.OpenReadOnly(file)
	switch {
	case errors.Is(err, sqlite.ErrOlder):
		l.say("archive", Look, "it is of an older version", "start the station once at home: bringing it forward takes a while")
		return
	case err != nil:
		l.say("archive", Bad, err.Error(), "start the station: it sets a damaged archive aside and makes it anew from the journals")
		return
	}
	sessions, err := a.Sessions(l.ctx)
	lost := a.Lost()
	if err = errors.Join(err, a.Close()); err != nil || len(lost) > 0 {
		l.say("archive", Bad, fmt.Sprintf("it is damaged: %v", errors.Join(err, lossError(lost))), "start the station: it sets a damaged archive aside and makes it anew from the journals")
		return
	}
	l.say("archive", Good, fmt.Sprintf("readable, sessions: %d", len(sessions)), "")
}

func lossError(lost []sqlite.Loss) error {
	if len(lost) == 0 {
		return nil
	}
	return fmt.Errorf("%v", lost[0])
}

// clock looks at the date and at what keeps it.
func (l *look) clock() {
	_, rtc := fs.Stat(l.opt.System, "sys/class/rtc/rtc0")
	day := l.opt.Now.Local().Format("2006-01-02 15:04")
	switch {
	case l.opt.Now.Year() < 2026:
		l.say("clock", Look, "it says "+day+", which cannot be", "nothing is lost by that; set it on the page Clock, or let a GPS receiver on a link do it")
	case rtc != nil && !l.opt.Synced:
		l.say("clock", Look, "it says "+day+"; it has no battery and was not synchronised", "compare it with a watch; the page Clock sets it")
	default:
		l.say("clock", Good, "it says "+day, "")
	}
}

// bus looks at the outside server and at the address for others.
func (l *look) bus() {
	if l.cfg.Bus.Listen != "" {
		l.binds("bus", "tcp", l.cfg.Bus.Listen)
	}
	for server := range strings.SplitSeq(l.cfg.Bus.URL, ",") {
		if _, addr, ok := strings.Cut(strings.TrimSpace(server), "://"); ok {
			l.answers("uplink", addr)
		}
	}
}

// pages looks at the address of the pages.
func (l *look) pages() {
	if l.cfg.Web.Listen == "off" {
		l.say("pages", Look, "there are none: web.listen is off", "")
		return
	}
	l.binds("pages", "tcp", l.cfg.Web.Listen)
	host, _, err := net.SplitHostPort(l.cfg.Web.Listen)
	if ip := net.ParseIP(host); err == nil && (ip.IsLoopback() || host == "localhost") {
		l.say("phones", Look, "only this computer sees the pages", "for phones set web.listen to an address of the field's network, and web.passphrase")
	}
}

// secrets looks at who may read the files with tokens and keys.
func (l *look) secrets() {
	files := []string{l.cfg.Bus.TokenFile, l.cfg.Bus.Creds, l.cfg.Bus.TLSKey}
	if in := l.cfg.Storage.Influx; in != nil {
		files = append(files, in.TokenFile)
	}
	for _, file := range files {
		if file == "" {
			continue
		}
		st, err := os.Stat(file)
		switch {
		case err != nil:
			l.say("secret "+file, Bad, plain(err), "bring the file there, or correct the configuration")
		case st.Mode().Perm()&0o007 != 0:
			l.say("secret "+file, Look, "everybody on this computer may read it", "chmod o= "+file)
		default:
			l.say("secret "+file, Good, "is there, and not everybody may read it", "")
		}
	}
}

// power looks at the supply: mains, battery, and the alarm of small computers
// that get too little voltage (the kernel's hwmon and power_supply classes).
func (l *look) power() {
	for _, sensor := range l.glob("sys/class/hwmon/hwmon*/in0_lcrit_alarm") {
		if v, err := l.system(sensor); err == nil && v == "1" {
			l.say("power", Bad, "the computer gets too little voltage", "take a better supply or a shorter cable: it may stop at any moment")
			return
		}
	}
	for _, dir := range l.glob("sys/class/power_supply/*") {
		kind, _ := l.system(path.Join(dir, "type"))
		capacity, err := l.number(path.Join(dir, "capacity"))
		if kind != "Battery" || err != nil {
			continue
		}
		status, _ := l.system(path.Join(dir, "status"))
		words := fmt.Sprintf("battery %.0f %%, %s", capacity, strings.ToLower(status))
		if capacity < cellLow && status != "Charging" {
			l.say("power", Look, words, "charge it: below that it may stop within the hour")
			return
		}
		l.say("power", Good, words, "")
		return
	}
	l.say("power", Good, "no warning of low voltage; this computer shows no battery", "")
}

// heat looks at the warmest part.
func (l *look) heat() {
	warmest := -1.0
	for _, zone := range l.glob("sys/class/thermal/thermal_zone*/temp") {
		if v, err := l.number(zone); err == nil {
			warmest = max(warmest, v/1000)
		}
	}
	words := fmt.Sprintf("the processor has %.0f °C", warmest)
	switch {
	case warmest < 0:
	case warmest >= tooHot:
		l.say("heat", Bad, words, "shade it and let air to it: it slows down from 80 °C on, and then stops")
	case warmest >= hot:
		l.say("heat", Look, words, "shade it and let air to it")
	default:
		l.say("heat", Good, words, "")
	}
}

// memory looks at what other programs leave.
func (l *look) memory() {
	info, err := l.system("proc/meminfo")
	if err != nil {
		return
	}
	for line := range strings.Lines(info) {
		f := strings.Fields(line)
		if len(f) < 2 || f[0] != "MemAvailable:" {
			continue
		}
		kb, err := strconv.ParseInt(f[1], 10, 64)
		if err != nil {
			return
		}
		words := fmt.Sprintf("%d MB of memory are free", kb>>10)
		if kb<<10 < memoryFew {
			l.say("memory", Look, words, "stop other programs: eight rockets need some 60 MB")
			return
		}
		l.say("memory", Good, words, "")
	}
}

// system reads a small file of the system, without the space around it.
func (l *look) system(name string) (string, error) {
	data, err := fs.ReadFile(l.opt.System, name)
	return strings.TrimSpace(string(data)), err
}

// number reads a number from a file of the system.
func (l *look) number(name string) (float64, error) {
	text, err := l.system(name)
	if err != nil {
		return 0, err
	}
	return strconv.ParseFloat(text, 64)
}

// glob lists files of the system; none where there is no such folder.
func (l *look) glob(pattern string) []string {
	names, err := fs.Glob(l.opt.System, pattern)
	if err != nil {
		return nil // only a bad pattern gives an error, and ours are tested
	}
	return names
}
