package deploy

import (
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	natsserver "github.com/nats-io/nats-server/v2/server"

	"padlark/cmd/padlark/config"
	"padlark/storage/influx/influxtest"
)

// place copies what setup and docker-compose need into a folder of the test.
func place(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	data, err := os.ReadFile("../docker-compose.yml")
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "docker-compose.yml"), data, 0o644); err != nil {
		t.Fatal(err)
	}
	return dir
}

// TestSetup: the passwords are made, fresh, once; nobody else can read them, and
// the station's configuration with its hash is a good one.
func TestSetup(t *testing.T) {
	if _, err := exec.LookPath("bash"); err != nil {
		influxtest.Missing(t, "bash is not here")
	}
	bin := build(t)
	dirs := []string{place(t), place(t)}
	var texts []string
	for _, dir := range dirs {
		cmd := exec.Command("./setup", dir)
		cmd.Env = append(os.Environ(), "PADLARK="+bin)
		if out, err := cmd.CombinedOutput(); err != nil {
			t.Fatalf("setup: %v\n%s", err, out)
		}
		env, err := os.ReadFile(filepath.Join(dir, ".env"))
		if err != nil {
			t.Fatal(err)
		}
		texts = append(texts, string(env))
	}
	secret := regexp.MustCompile(`(?m)^(INFLUX_PASSWORD|INFLUX_TOKEN|NATS_TOKEN|DASHBOARD_PASSWORD|PADLARK_PASSPHRASE)=([a-z]\S{31})$`)
	seen := map[string]bool{}
	for _, text := range texts {
		found := secret.FindAllStringSubmatch(text, -1)
		if len(found) != 5 {
			t.Errorf("%d secrets in .env, want 5", len(found))
		}
		for _, f := range found {
			if seen[f[2]] {
				t.Errorf("%s is not fresh", f[1])
			}
			seen[f[2]] = true
		}
	}
	checkPrivate(t, dirs[0])
	if _, err := config.Load(filepath.Join(dirs[0], "deploy/secrets/padlark.toml")); err != nil {
		t.Error(err)
	}
	// A second run must not take the passwords away from the volumes.
	if out, err := exec.Command("./setup", dirs[0]).CombinedOutput(); err == nil || !strings.Contains(string(out), "there already") {
		t.Errorf("second run: %v %s", err, out)
	}
	if again, err := os.ReadFile(filepath.Join(dirs[0], ".env")); err != nil || string(again) != texts[0] {
		t.Error("the second run changed .env")
	}
	t.Run("docker-compose", func(t *testing.T) { checkCompose(t, dirs[0]) })
}

func checkPrivate(t *testing.T, dir string) {
	t.Helper()
	for name, want := range map[string]os.FileMode{".env": 0o600, "deploy/secrets": 0o700} {
		st, err := os.Stat(filepath.Join(dir, name))
		if err != nil || st.Mode().Perm() != want {
			t.Errorf("%s: %v %v, want %v", name, st.Mode(), err, want)
		}
	}
	ignored, err := os.ReadFile("../.gitignore")
	if err != nil || !strings.Contains(string(ignored), "/.env\n") {
		t.Errorf(".gitignore does not name /.env: %v", err)
	}
	ignored, err = os.ReadFile(".gitignore")
	if err != nil || !strings.Contains(string(ignored), "secrets/") {
		t.Errorf("deploy/.gitignore does not name secrets/: %v", err)
	}
}

// checkCompose has docker-compose itself read the file: with the passwords made
// it is complete, without them it is refused.
func checkCompose(t *testing.T, dir string) {
	bin, err := exec.LookPath("docker-compose")
	if err != nil {
		influxtest.Missing(t, "docker-compose is not here: apt-get install docker-compose")
	}
	run := func(dir string) (string, error) {
		var out bytes.Buffer
		cmd := exec.Command(bin, "-f", filepath.Join(dir, "docker-compose.yml"), "--project-directory", dir, "config")
		cmd.Stdout, cmd.Stderr = &out, &out
		err := cmd.Run()
		return out.String(), err
	}
	text, err := run(dir)
	if err != nil {
		t.Fatalf("docker-compose config: %v\n%s", err, text)
	}
	for _, service := range []string{"padlark", "nats", "influxdb", "dashboards"} {
		if !strings.Contains(text, "\n  "+service+":\n") {
			t.Errorf("no service %s", service)
		}
	}
	if n := strings.Count(text, "healthcheck:"); n != 4 {
		t.Errorf("%d health checks, want 4", n)
	}
	if n := strings.Count(text, "read_only: true"); n < 3 {
		t.Errorf("%d services with a read-only root, want 3", n)
	}
	if text, err := run(place(t)); err == nil || !strings.Contains(text, "deploy/setup") {
		t.Errorf("without passwords: %v\n%s", err, text)
	}
}

// TestSamples: the configurations in this folder are good ones.
func TestSamples(t *testing.T) {
	for _, name := range []string{"padlark.toml", "compose.toml"} {
		if _, err := config.Load(name); err != nil {
			t.Error(err)
		}
	}
	t.Setenv("NATS_TOKEN", "abc")
	o, err := natsserver.ProcessConfigFile("nats.conf")
	if err != nil {
		t.Fatal(err)
	}
	if o.Authorization != "abc" || !o.JetStream || o.StoreDir != "/data" {
		t.Errorf("nats.conf: token %q, JetStream %v in %q", o.Authorization, o.JetStream, o.StoreDir)
	}
}

// TestDashboardFiles: each is what the dashboard server asks for, and no query
// names a bucket, a session or a rocket of its own.
func TestDashboardFiles(t *testing.T) {
	uids := map[string]bool{}
	files, err := filepath.Glob("dashboards/*.json")
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		data, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		var d struct {
			UID    string
			Panels []struct {
				ID         int
				Datasource struct{ UID string }
				Targets    []struct{ Query string }
			}
		}
		if err := json.Unmarshal(data, &d); err != nil {
			t.Fatalf("%s: %v", f, err)
		}
		if d.UID == "" || uids[d.UID] {
			t.Errorf("%s: uid %q is empty or not its own", f, d.UID)
		}
		uids[d.UID] = true
		ids := map[int]bool{}
		for _, p := range d.Panels {
			if ids[p.ID] || p.Datasource.UID != "padlark" {
				t.Errorf("%s: panel %d: a second one, or source %q", f, p.ID, p.Datasource.UID)
			}
			ids[p.ID] = true
			for _, q := range p.Targets {
				if !strings.HasPrefix(q.Query, "from(bucket: v.defaultBucket)") {
					t.Errorf("%s: panel %d: %s", f, p.ID, q.Query)
				}
			}
		}
	}
}

// TestUnit: systemd itself finds no fault with the service unit, and what it may
// do is little.
func TestUnit(t *testing.T) {
	data, err := os.ReadFile("systemd/padlark.service")
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"Type=notify\n", "WatchdogSec=", "NoNewPrivileges=yes", "ProtectSystem=strict", "CapabilityBoundingSet=\n"} {
		if !strings.Contains(string(data), want) {
			t.Errorf("no %q", strings.TrimSpace(want))
		}
	}
	bin, err := exec.LookPath("systemd-analyze")
	if err != nil {
		influxtest.Missing(t, "systemd-analyze is not here: apt-get install systemd")
	}
	// The program and its user are not installed here.
	text := strings.NewReplacer("/usr/local/bin/padlark", "/bin/true", "User=padlark", "User=daemon", "Group=padlark", "Group=daemon").Replace(string(data))
	unit := filepath.Join(t.TempDir(), "padlark.service")
	if err := os.WriteFile(unit, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command(bin, "verify", "--man=no", unit).CombinedOutput()
	var own []string
	for _, l := range strings.Split(string(out), "\n") {
		// Other units of the machine are none of ours.
		if strings.Contains(l, "padlark.service") {
			own = append(own, l)
		}
	}
	if len(own) > 0 {
		t.Errorf("systemd-analyze verify: %v\n%s", err, strings.Join(own, "\n"))
	}
	out, err = exec.Command(bin, "security", "--offline=yes", "--threshold=15", unit).CombinedOutput()
	if err != nil {
		t.Errorf("its exposure, as systemd-analyze security counts it, is over 1.5: %v\n%s", err, out)
	}
}
