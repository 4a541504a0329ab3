package web

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"
)

// cheapHash is a hash with the least costs that are allowed, for the tests'
// time; HashPassphrase itself is tested once.
func cheapHash(t *testing.T, pass string) string {
	t.Helper()
	h := passHash{kib: 8 * 1024, passes: 1, lanes: 1, salt: []byte("somesalt"), tag: make([]byte, argonTag)}
	h.tag = hashTag(h, pass)
	if _, err := parsePassHash(h.String()); err != nil {
		t.Fatal(err)
	}
	return h.String()
}

// TestPassphraseHash checks a hash that the reference implementation's own test
// checks: the tag 09316115d5cf24ed5a15a31a3ba326e5cf32edc24702987c02b6566f61913cf7
// (Argon2id, version 19, 2 passes, 65536 KiB, 1 lane, "password" with
// the salt "somesalt"; from memory).
func TestPassphraseHash(t *testing.T) {
	h, err := parsePassHash("$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc")
	if err != nil {
		t.Fatal(err)
	}
	if !h.matches("password") {
		t.Error("the right passphrase is refused")
	}
	if h.matches("Password") {
		t.Error("a wrong passphrase is taken")
	}
	made, err := HashPassphrase("kite over north-field")
	if err != nil {
		t.Fatal(err)
	}
	if !strings.HasPrefix(made, "$argon2id$v=19$m=65536,t=3,p=4$") {
		t.Errorf("costs of %s are not those of RFC 9106, section 4, second choice", made)
	}
	if h, err := parsePassHash(made); err != nil || !h.matches("kite over north-field") {
		t.Errorf("a new hash does not take its own passphrase (%v)", err)
	}
	if again, _ := HashPassphrase("kite over north-field"); again == made {
		t.Error("two hashes share their salt")
	}
	if _, err := HashPassphrase("short"); err == nil || !strings.Contains(err.Error(), "8 or more") {
		t.Errorf("a short passphrase: %v", err)
	}
}

func TestHashRefused(t *testing.T) {
	for _, bad := range []string{
		"", "secret", "$argon2i$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc",
		"$argon2id$v=16$m=65536,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc",
		"$argon2id$v=19$m=99999999,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc",
		"$argon2id$v=19$m=65536,t=0,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc",
		"$argon2id$v=19$m=65536,t=2,p=1$!!!$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc",
		"$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$AAAA",
	} {
		if _, err := parsePassHash(bad); err == nil || !strings.Contains(err.Error(), "padlark passphrase") {
			t.Errorf("%q: %v, want an error that says how to make a new one", bad, err)
		}
	}
}

// FuzzPassHash: whatever is in the configuration, reading it neither panics nor
// lets costs through that would stall the computer.
func FuzzPassHash(f *testing.F) {
	f.Add("$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc")
	f.Add("$$$$$")
	f.Fuzz(func(t *testing.T, s string) {
		h, err := parsePassHash(s)
		if err == nil && (h.kib > 512*1024 || h.passes > 16 || h.lanes > 16 || h.lanes < 1 || len(h.salt) < 8) {
			t.Errorf("%q is taken as %+v", s, h)
		}
	})
}

func TestWideAddressWantsPassphrase(t *testing.T) {
	hash := cheapHash(t, "north-field crew")
	for _, c := range []struct {
		listen string
		access Access
		ok     bool
	}{
		{"127.0.0.1:9700", Access{}, true},
		{"localhost:9700", Access{}, true},
		{"[::1]:9700", Access{}, true},
		{":9700", Access{}, false},
		{"0.0.0.0:9700", Access{}, false},
		{"192.168.4.1:9700", Access{}, false},
		{"127.0.0.1.example:9700", Access{}, false},
		{":9700", Access{CrewHash: hash}, true},
		{"127.0.0.1:9700", Access{ViewerHash: hash}, false},
		{":9700", Access{CrewHash: "plain text"}, false},
	} {
		opt := newInvented().options()
		opt.Listen, opt.Access = c.listen, c.access
		_, err := New(opt)
		if (err == nil) != c.ok {
			t.Errorf("listen %s with %+v: %v, want ok %v", c.listen, c.access, err, c.ok)
		}
		if err != nil && !strings.Contains(err.Error(), "passphrase") {
			t.Errorf("listen %s: the error %q does not name the mend", c.listen, err)
		}
	}
}

// guarded is a server with both passphrases.
func guarded(t *testing.T) (*Server, string) {
	t.Helper()
	v := recorded()
	opt := v.options()
	opt.Listen = "0.0.0.0:9700"
	opt.Access = Access{CrewHash: cheapHash(t, "crew of north-field"), ViewerHash: cheapHash(t, "guests welcome")}
	s, base := serve(t, opt)
	v.publish(Message{Alarm: alarmForTest()})
	return s, base
}

// signInAs returns the cookie and the page's token.
func signInAs(t *testing.T, base, pass string) (cookie, token string) {
	t.Helper()
	code, h, _ := ask(t, "POST", base+"/signin", url.Values{"passphrase": {pass}, "next": {"/links"}}.Encode(), "Content-Type", "application/x-www-form-urlencoded")
	if code != 303 || h.Get("Location") != "/links" {
		t.Fatalf("sign in: %d to %q", code, h.Get("Location"))
	}
	set := h.Get("Set-Cookie")
	for _, want := range []string{"HttpOnly", "SameSite=Strict", "Path=/", "Max-Age="} {
		if !strings.Contains(set, want) {
			t.Errorf("the cookie %q lacks %s", set, want)
		}
	}
	cookie, _, _ = strings.Cut(set, ";")
	_, _, page := ask(t, "GET", base+"/", "", "Cookie", cookie)
	m := regexp.MustCompile(`name="padlark-token" content="([^"]+)"`).FindSubmatch(page)
	if m == nil {
		t.Fatal("no token on the page")
	}
	return cookie, string(m[1])
}

func TestRoles(t *testing.T) {
	_, base := guarded(t)
	crewCookie, crewToken := signInAs(t, base, "crew of north-field")
	viewCookie, viewToken := signInAs(t, base, "guests welcome")
	const json = "application/json"
	for _, c := range []struct {
		name, method, at, body, cookie, token string
		want                                  int
	}{
		{"stranger, page", "GET", "/", "", "", "", 303},
		{"stranger, API", "GET", "/api/v1/rockets", "", "", "", 401},
		{"stranger, stream", "GET", "/api/v1/live", "", "", "", 401},
		{"stranger, metrics", "GET", "/metrics", "", "", "", 401},
		{"stranger, health", "GET", "/healthz", "", "", "", 200},
		{"stranger, change", "POST", "/api/v1/alarms/ack", `{"id":"A"}`, "", "", 401},
		{"false cookie", "GET", "/api/v1/rockets", "", "padlark=guess", "", 401},
		{"viewer looks", "GET", "/api/v1/rockets", "", viewCookie, "", 200},
		{"viewer acknowledges", "POST", "/api/v1/alarms/ack", `{"id":"A"}`, viewCookie, viewToken, 403},
		{"viewer notes", "POST", teal + "/notes", `{"text":"hello"}`, viewCookie, viewToken, 403},
		{"viewer sets the clock", "POST", "/api/v1/time", `{}`, viewCookie, viewToken, 403},
		{"crew without token", "POST", "/api/v1/alarms/ack", `{"id":"A"}`, crewCookie, "", 403},
		{"crew with another's token", "POST", "/api/v1/alarms/ack", `{"id":"A"}`, crewCookie, viewToken, 403},
		{"crew acknowledges", "POST", "/api/v1/alarms/ack", `{"id":"A"}`, crewCookie, crewToken, 204},
	} {
		code, _, body := ask(t, c.method, base+c.at, c.body, "Cookie", c.cookie, tokenHeader, c.token, "Content-Type", json)
		if code != c.want {
			t.Errorf("%s: status %d, want %d: %s", c.name, code, c.want, body)
		}
	}
	code, _, _ := ask(t, "POST", base+"/signout", url.Values{"token": {crewToken}}.Encode(), "Cookie", crewCookie, "Content-Type", "application/x-www-form-urlencoded")
	if code != 303 {
		t.Errorf("sign out: %d", code)
	}
	if code, _, _ := ask(t, "GET", base+"/api/v1/rockets", "", "Cookie", crewCookie); code != 401 {
		t.Errorf("after signing out: %d", code)
	}
}

func TestSignInLimits(t *testing.T) {
	s, base := guarded(t)
	now := time.Now()
	s.gate.now = func() time.Time { return now }
	try := func(pass string) int {
		code, _, _ := ask(t, "POST", base+"/signin", url.Values{"passphrase": {pass}}.Encode(), "Content-Type", "application/x-www-form-urlencoded")
		return code
	}
	for i := range attempts {
		if code := try("wrong"); code != 403 {
			t.Fatalf("attempt %d: %d", i, code)
		}
	}
	if code := try("crew of north-field"); code != 429 {
		t.Errorf("after %d wrong attempts even the right one waits: %d", attempts, code)
	}
	now = now.Add(attemptGap + time.Millisecond)
	if code := try("crew of north-field"); code != 303 {
		t.Errorf("after waiting: %d", code)
	}
	cookie, _ := signInAs(t, base, "crew of north-field")
	now = now.Add(signedInFor + time.Second)
	if code, _, _ := ask(t, "GET", base+"/api/v1/rockets", "", "Cookie", cookie); code != 401 {
		t.Errorf("a sign-in older than %v: %d", signedInFor, code)
	}
	for range 3 * keepClients {
		s.gate.mayTry(secret())
	}
	if n := len(s.gate.clients); n > keepClients {
		t.Errorf("%d addresses are remembered, at most %d should be", n, keepClients)
	}
}

// TestForeignSites: another site's page can neither change anything nor read
// along by a name of its own.
func TestForeignSites(t *testing.T) {
	v := newInvented()
	s, base := serve(t, v.options())
	v.publish(Message{Alarm: alarmForTest()})
	good := []string{tokenHeader, s.gate.openToken, "Content-Type", "application/json"}
	if code, _, _ := ask(t, "POST", base+"/api/v1/alarms/ack", `{"id":"A"}`, append(good, "Origin", "http://elsewhere.example", "Sec-Fetch-Site", "cross-site")...); code != 403 {
		t.Errorf("a change from another site: %d", code)
	}
	if code, _, _ := ask(t, "POST", base+"/api/v1/alarms/ack", `{"id":"A"}`, append(good, "Origin", base, "Sec-Fetch-Site", "same-origin")...); code != 204 {
		t.Errorf("a change from our own page: %d", code)
	}
	if code, _, _ := ask(t, "POST", base+"/api/v1/alarms/ack", `{"id":"A"}`, "Content-Type", "application/json"); code != 403 {
		t.Errorf("a change without the token: %d", code)
	}
	for host, want := range map[string]int{"127.0.0.1:9700": 200, "localhost": 200, "[::1]:9700": 200, "rebound.example:9700": 403, "10.0.0.7:9700": 403} {
		r := httptest.NewRequest("GET", "http://x/api/v1/rockets", nil)
		r.Host = host
		w := httptest.NewRecorder()
		s.Handler().ServeHTTP(w, r)
		if w.Code != want {
			t.Errorf("Host %s: %d, want %d", host, w.Code, want)
		}
	}
}

func TestOwnPath(t *testing.T) {
	for in, want := range map[string]string{
		"/links": "/links", "/flights/a?b=c": "/flights/a?b=c", "": "/", "links": "/", "//elsewhere.example": "/",
		"https://elsewhere.example/": "/", `/\elsewhere.example`: "/", "/\telsewhere": "/", "javascript:alert(1)": "/",
	} {
		if got := ownPath(in); got != want {
			t.Errorf("ownPath(%q) = %q, want %q", in, got, want)
		}
	}
}

// TestPolicy: every page forbids scripts and styles that are not our files, and
// has none.
func TestPolicy(t *testing.T) {
	_, _, base := live(t)
	inline := regexp.MustCompile(`(?i)<script(?:[^>]*)>[^<]|<style|\son[a-z]+=|\sstyle=|javascript:`)
	for _, page := range []string{"/", "/flights", "/flights/" + url.PathEscape("20250614-093000-efgh~Teal~1"),
		"/flights/" + url.PathEscape("20250614-093000-efgh~Teal~1") + "/report", "/sessions", "/sessions/20250614-093000-efgh",
		"/links", "/compare", "/clock", "/ready", "/configuration", "/alarms", "/alarms/ballistic", "/signin", "/nowhere"} {
		_, h, body := ask(t, "GET", base+page, "")
		csp := h.Get("Content-Security-Policy")
		for _, want := range []string{"default-src 'none'", "script-src 'self';", "style-src 'self';", "frame-ancestors 'none'", "form-action 'self'", "base-uri 'none'"} {
			if !strings.Contains(csp, want) {
				t.Errorf("%s: the policy %q lacks %s", page, csp, want)
			}
		}
		if strings.Contains(csp, "unsafe") {
			t.Errorf("%s: the policy %q allows too much", page, csp)
		}
		if m := inline.Find(body); m != nil {
			t.Errorf("%s: inline script or style: %q", page, m)
		}
		if h.Get("X-Content-Type-Options") != "nosniff" {
			t.Errorf("%s: no nosniff", page)
		}
	}
}

func TestClientAddr(t *testing.T) {
	for in, want := range map[string]string{
		"192.168.4.7:51000": "192.168.4.7", "[2001:db8:1:2:3:4:5:6]:51000": "2001:db8:1:2::/64",
		"[::ffff:192.168.4.7]:51000": "192.168.4.7", "[fe80::1%eth0]:51000": "fe80::/64", "pipe": "pipe",
	} {
		if got := clientAddr(&http.Request{RemoteAddr: in}); got != want {
			t.Errorf("%s counts as %s, want %s", in, got, want)
		}
	}
}
