package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// What check calls good a run begins with, and what a run refuses check refuses
// with the same words.
func TestCheckIsWhatRunNeeds(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	const link = "[[link]]\nname = \"pad\"\nudp = \"127.0.0.1:0\"\nlayout = \"lark-bin\"\n"
	station := fmt.Sprintf("[station]\ndata = %q\n", filepath.Join(dir, "data"))
	for _, c := range []struct{ name, text, want string }{
		{"a port beyond 65535", station + link + "[web]\nlisten = \"127.0.0.1:99999\"\n", "listen"},
		{"a port that is a word", station + link + "[web]\nlisten = \"127.0.0.1:http\"\n", "listen"},
		{"an elevation that is no number", station + link + "[site]\nelevation_m = nan\n", "elevation_m"},
		{"a wind that is no number", station + link + "[site]\nwind_mps = nan\n", "wind_mps"},
		{"a mass that is no number", station + link + "[[rocket]]\nname = \"Teal\"\nid = 7\nmass_kg = nan\n", "mass_kg"},
		{"a rate without end", station + link + "[[rocket]]\nname = \"Teal\"\nid = 7\nrate_hz = inf\n", "rate_hz"},
		{"a servo that is no number", station + link + "[[rocket]]\nname = \"Teal\"\nid = 7\nrelease_max_us = nan\n", "rocket"},
		{"a threshold that is no number", station + link + "[alarm]\nsilent_s = nan\n", "alarm"},
		{"a passphrase in plain text", station + link + "[web]\npassphrase = \"open sesame\"\n", "passphrase"},
		{"a viewer's passphrase alone", station + link + "[web]\nviewer = \"open sesame\"\n", "viewer"},
		{"a certificate without its key", station + link + "[web]\ncert = \"web.pem\"\n", "cert and key"},
		{"a certificate that is not there", station + link + "[web]\ncert = \"nowhere.pem\"\nkey = \"nowhere-key.pem\"\n", "nowhere.pem"},
		{"pages on a name that there is not", station + link + "[web]\nlisten = \"nowhere.invalid:9700\"\n", "web.listen"},
		{"pages on an address of another computer", station + link + "[web]\nlisten = \"203.0.113.77:9700\"\n", "web.listen"},
		{"a bus on a name that there is not", station + link + "[bus]\nlisten = \"nowhere.invalid:4222\"\ntoken_file = \"/nowhere/token\"\n", "bus.listen"},
		{"a bus for others without a token", station + link + "[bus]\nlisten = \"0.0.0.0:4222\"\n", "token"},
		{"a bus on a port that is none", station + link + "[bus]\nlisten = \"127.0.0.1:70000\"\n", "listen"},
		{"a token file that is not there", station + link + "[bus]\nlisten = \"127.0.0.1:4222\"\ntoken_file = \"/nowhere/token\"\n", "token_file"},
		{"a bus that is no address", station + link + "[bus]\nurl = \"host\"\n", "bus.url"},
		{"credentials that are not there", station + link + "[bus]\nurl = \"nats://127.0.0.1:4222\"\ncreds = \"/nowhere/creds\"\n", "creds"},
		{"a certificate that is not there", station + link + "[bus]\nurl = \"tls://127.0.0.1:4222\"\ntls_ca = \"/nowhere/ca\"\n", "tls_ca"},
		{"an age that is no number", station + link + "[bus]\nmax_age_hours = nan\n", "max_age_hours"},
		{"an age without end", station + link + "[bus]\nmax_age_hours = inf\n", "max_age_hours"},
		{"a stream larger than any disk", station + link + "[bus]\nmax_mb = 9000000000000\n", "max_mb"},
		{"a server's token that is not there", station + link + "[storage.influx]\nurl = \"http://127.0.0.1:8086\"\nbucket = \"b\"\ntoken_file = \"/nowhere/t\"\n", "token_file"},
		{"a server that is no address", station + link + "[storage.influx]\nurl = \"localhost\"\nbucket = \"b\"\n", "storage.influx.url"},
		{"a folder in /proc", "[station]\ndata = \"/proc/x\"\n" + link, "data"},
		{"a folder that is a file", fmt.Sprintf("[station]\ndata = %q\n", file) + link, "data"},
		{"a folder below a file", fmt.Sprintf("[station]\ndata = %q\n", file+"/x") + link, "data"},
		{"a program that is not there", station + link + "[callout]\ncommand = [\"no-such-voice\"]\n", "callout.command"},
		{"a call that lasts for ever", station + link + "[callout]\ncommand = [\"cat\"]\nlongest_s = nan\n", "longest_s"},
		{"one UDP port twice", station + "[[link]]\nname = \"a\"\nudp = \":9751\"\nlayout = \"lark-bin\"\n[[link]]\nname = \"b\"\nudp = \"127.0.0.1:9751\"\nlayout = \"lark-bin\"\n", "9751"},
		{"one TCP port twice", station + "[[link]]\nname = \"a\"\ntcp_listen = \"127.0.0.1:9700\"\nlayout = \"lark-bin\"\n", "9700"},
		{"one serial port twice", station + "[[link]]\nname = \"a\"\nserial = \"/dev/x\"\nbaud = 9600\nlayout = \"lark-bin\"\n[[link]]\nname = \"b\"\nserial = \"/dev/x\"\nbaud = 9600\nlayout = \"lark-bin\"\n", "/dev/x"},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := writeConfig(t, c.text)
			checked, began := do(t, "check", path), do(t, "run", path)
			if checked.code != 2 || began.code != 2 || checked.err != began.err {
				t.Fatalf("check ends with %d: %s%s\nrun with %d: %s%s", checked.code, checked.out, checked.err, began.code, began.out, began.err)
			}
			if !strings.Contains(checked.err, c.want) {
				t.Errorf("it says %q, which does not name %s", checked.err, c.want)
			}
		})
	}
	for _, good := range []string{
		station + link, // its folder is not there yet
		station + link + "[callout]\ncommand = [\"cat\"]\n",
		station + "[[link]]\nname = \"a\"\nudp = \"239.1.2.3:9751\"\nlayout = \"lark-bin\"\n[[link]]\nname = \"b\"\nudp = \"239.1.2.4:9751\"\nlayout = \"lark-bin\"\n",
		station + "[[link]]\nname = \"a\"\nudp = \":9752\"\nlayout = \"lark-bin\"\n[[link]]\nname = \"b\"\ntcp_listen = \":9752\"\nlayout = \"lark-bin\"\n",
	} {
		if r := do(t, "check", writeConfig(t, good)); r.code != 0 {
			t.Errorf("check ends with %d: %s%s\n%s", r.code, r.out, r.err, good)
		}
		if left, err := filepath.Glob(filepath.Join(dir, ".padlark-check-*")); err != nil || len(left) > 0 {
			t.Errorf("check leaves %v", left)
		}
	}
}
