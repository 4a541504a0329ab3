package deploy

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// underSystemd says whether TestPackage also runs the service under a real service
// manager, in namespaces of its own. Not every place where tests run permits that.
func underSystemd() bool { return os.Getenv("PADLARK_SYSTEMD") != "" }

// boot makes a root the one of a system whose first process is systemd. Its control
// groups are below one of ours, and it says at /notify when it has started.
const boot = `set -e
own=/sys/fs/cgroup/systemd/padlark-test
[ -d /sys/fs/cgroup/systemd ] || own=/sys/fs/cgroup/padlark-test
mkdir -p $own
echo $$ > $own/cgroup.procs
exec unshare --fork --pid --mount --uts --ipc --cgroup --net sh -ec '
mount --make-rprivate /
mount --bind "$1" "$1"
cd "$1"
mount -t proc proc proc
mount -t sysfs sysfs sys
if [ "$2" = /sys/fs/cgroup/padlark-test ]; then
  mount -t cgroup2 cgroup sys/fs/cgroup
else
  mount -t tmpfs tmpfs sys/fs/cgroup
  mkdir sys/fs/cgroup/systemd
  mount -t cgroup -o none,name=systemd cgroup sys/fs/cgroup/systemd
fi
for d in run tmp dev; do mount -t tmpfs tmpfs $d; done
for n in null zero full random urandom tty; do cp -a /dev/$n dev/; done
pivot_root . mnt
umount -l /mnt
exec env -i container=test NOTIFY_SOCKET=/notify PATH=/usr/sbin:/usr/bin:/sbin:/bin /lib/systemd/systemd
' sh "$0" "$own"
`

// send sends frames of rocket 8 to the service from within its system, numbered from
// $1 to $2, some 25 a second.
const send = `for n in $(seq $1 $2); do
  s="PLRK,8,1,$n,$((n*40)),100000,1850,4000,1000,0"; x=0
  for ((k = 0; k < ${#s}; k++)); do printf -v c %d "'${s:k:1}"; x=$((x ^ c)); done
  printf '$%s*%02X\r\n' "$s" $x >/dev/udp/127.0.0.1/9750
  sleep 0.04
done`

// serviceInDebian installs the package in a Debian that runs, and does with the
// service what people do: reload, a mistake in the file, a crash, restart, update. No
// frame is lost but those that are sent while it is down, and the session stays one.
func serviceInDebian(t *testing.T, root, deb string) {
	for _, unit := range []string{"getty.target", "console-getty.service", "systemd-udevd.service", "systemd-logind.service"} {
		if err := os.Symlink("/dev/null", filepath.Join(root, "etc/systemd/system", unit)); err != nil {
			t.Fatal(err)
		}
	}
	ready := notified(t, filepath.Join(root, "notify"))
	manager := exec.Command("bash", "-c", boot, root)
	manager.Stdout, manager.Stderr = os.Stderr, os.Stderr
	if err := manager.Start(); err != nil {
		t.Fatal(err)
	}
	if err := ready(); err != nil {
		t.Fatalf("systemd does not start: %v", err)
	}
	child := strings.TrimSpace(sh(t, "", "cat", fmt.Sprintf("/proc/%d/task/%d/children", manager.Process.Pid, manager.Process.Pid)))
	var first int
	if _, err := fmt.Sscan(child, &first); err != nil {
		t.Fatalf("the first process is %q: %v", child, err)
	}
	defer func() {
		if err := syscall.Kill(first, syscall.SIGKILL); err != nil { // and with it all that runs in there
			t.Error(err)
		}
		_ = manager.Wait() // killed
	}()
	in := func(args ...string) string {
		return strings.TrimSpace(sh(t, "", "nsenter", append([]string{"-t", child, "-a"}, args...)...))
	}
	frames := func(from, to int) { in("bash", "-c", send, "bash", fmt.Sprint(from), fmt.Sprint(to)) }
	pid := func() string { return in("systemctl", "show", "-p", "MainPID", "--value", "padlark") }
	change := func(what string) {
		in("sed", "-i", what, "/etc/padlark/padlark.toml")
		in("systemctl", "reload", "padlark")
	}

	sh(t, "", "cp", deb, filepath.Join(root, "padlark.deb"))
	in("dpkg", "-i", "/padlark.deb")
	frames(1, 50)
	begun := pid()
	meanwhile := exec.Command("nsenter", "-t", child, "-a", "bash", "-c", send, "bash", "51", "150")
	if err := meanwhile.Start(); err != nil {
		t.Fatal(err)
	}
	for n := range 5 {
		change(fmt.Sprintf(`s/name = "Rust.*"/name = "Rust-%d"/`, n))
	}
	change(`$a nonsense = 1`)
	change(`$d`)
	if err := meanwhile.Wait(); err != nil {
		t.Error(err)
	}
	if now := pid(); now != begun || begun == "0" {
		t.Errorf("after reloads its process is %s, it was %s", now, begun)
	}
	in("sh", "-c", "kill -9 "+begun)
	in("systemctl", "start", "padlark") // waits until it is ready
	frames(151, 200)
	in("systemctl", "restart", "padlark")
	frames(201, 250)
	in("dpkg", "-i", "--force-confold", "/padlark.deb")
	frames(251, 300)
	in("systemctl", "stop", "padlark")
	log := in("journalctl", "-u", "padlark", "-o", "cat", "--no-pager")
	for _, want := range []string{`rocket "Rust-3" goes, rocket "Rust-4" comes`, `unknown key "web.nonsense"`, "goes on after an interruption"} {
		if !strings.Contains(log, want) {
			t.Errorf("the log does not say %q:\n%s", want, log)
		}
	}
	if list := in("padlark", "sessions", "--data", "/var/lib/padlark"); strings.Count(list, "\n") != 1 || !strings.Contains(list, " 300 ") {
		t.Errorf("300 frames were sent in one session:\n%s", list)
	}
	if said := in("systemd-analyze", "security", "--no-pager", "padlark"); !strings.Contains(said, "padlark.service: 1.5 OK") && !strings.Contains(said, "padlark.service: 1.4 OK") {
		t.Errorf("its exposure: %s", said[strings.LastIndex(said, "\n")+1:])
	}
	in("dpkg", "-P", "padlark")
	sh(t, "", "rm", "-rf", filepath.Join(root, "var/lib/padlark"), filepath.Join(root, "padlark.deb"))
}
