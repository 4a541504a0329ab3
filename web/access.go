package web

import (
	"context"
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"math"
	"net"
	"net/http"
	"net/netip"
	"runtime/debug"
	"strings"
	"sync"
	"time"

	"golang.org/x/time/rate"
)

// Access says who may do what. Without a crew passphrase the server listens on
// loopback only and whoever sits at that computer is crew.
type Access struct {
	// CrewHash is for people who may look, acknowledge and change; ViewerHash
	// for people who may look. Both as HashPassphrase writes them. Without a
	// ViewerHash there are no viewers.
	CrewHash   string
	ViewerHash string
}

// role is what a person may do.
type role int

const (
	nobody role = iota // not signed in
	viewer             // may look
	crew               // may look, acknowledge and change
)

func (r role) String() string { return [...]string{"nobody", "viewer", "crew"}[r] }

// Bounds of the sign-in.
const (
	cookieName  = "padlark"
	signedInFor = 12 * time.Hour // a day on the field
	keepSignIns = 256            // the one that ends first gives way
	keepClients = 1024           // addresses whose attempts are counted; the one longest quiet gives way
	keepKnown   = 256            // addresses from which somebody has signed in
	keepWaiting = 16             // attempts that wait for their hash
	tokenHeader = "X-Padlark-Token"
	tokenField  = "token"
	attempts    = 5 // in a row from one address
	attemptGap  = 12 * time.Second
	crowdedWait = 2 * time.Second
)

// signIn is one signed-in browser.
type signIn struct {
	role  role
	token string // against forged requests: sent with every change
	until time.Time
}

// client is what is remembered of an address that tries to sign in.
type client struct {
	limit *rate.Limiter
	tries int
	last  time.Time
}

// gate keeps the sign-ins. It is safe for concurrent use.
type gate struct {
	open         bool // no passphrase: loopback only
	crew, viewer *passHash
	openToken    string // the token while the gate is open

	hashing turns // one hash at a time: each takes 64 MiB

	mu      sync.Mutex
	signIns map[string]signIn
	clients map[string]*client
	known   map[string]time.Time // addresses from which somebody has signed in, until when
	now     func() time.Time
}

func newGate(a Access, listen string) (*gate, error) {
	g := &gate{signIns: map[string]signIn{}, clients: map[string]*client{}, known: map[string]time.Time{}, now: time.Now,
		hashing: turns{most: keepWaiting}, openToken: secret()}
	for _, h := range []struct {
		text, field string
		into        **passHash
	}{{a.CrewHash, "passphrase", &g.crew}, {a.ViewerHash, "viewer", &g.viewer}} {
		if h.text == "" {
			continue
		}
		parsed, err := parsePassHash(h.text)
		if err != nil {
			return nil, fmt.Errorf("read [web] %s: %w", h.field, err)
		}
		*h.into = &parsed
	}
	g.open = g.crew == nil
	if g.open && g.viewer != nil {
		return nil, fmt.Errorf("read [web] viewer: it needs a passphrase for the crew too; set passphrase")
	}
	if g.open && !loopback(listen) {
		return nil, fmt.Errorf("listen on %s: other computers could reach the board, so it needs a passphrase; "+
			"set passphrase in [web] (padlark passphrase makes the line) or listen on 127.0.0.1:9700", listen)
	}
	return g, nil
}

// Validate says what is wrong with it, for pages on an address.
func (a Access) Validate(listen string) error {
	_, err := newGate(a, listen)
	return err
}

// Loopback says whether pages that listen there can be reached from this computer
// only.
func Loopback(listen string) bool { return loopback(listen) }

// loopback says whether an address to listen on can be reached from this
// computer only.
func loopback(listen string) bool {
	host, _, err := net.SplitHostPort(listen)
	if err != nil {
		host = listen
	}
	if host == "localhost" {
		return true
	}
	ip, err := netip.ParseAddr(host)
	return err == nil && ip.IsLoopback()
}

// secret is 256 random bits as text.
func secret() string {
	b := make([]byte, 32)
	_, _ = rand.Read(b) // never fails (crypto/rand, since Go 1.24)
	return base64.RawURLEncoding.EncodeToString(b)
}

// who finds the role and the token of a request.
func (g *gate) who(r *http.Request) (role, string) {
	if g.open {
		return crew, g.openToken
	}
	c, err := r.Cookie(cookieName)
	if err != nil {
		return nobody, ""
	}
	g.mu.Lock()
	defer g.mu.Unlock()
	in, ok := g.signIns[c.Value]
	if !ok || g.now().After(in.until) {
		delete(g.signIns, c.Value)
		return nobody, ""
	}
	return in.role, in.token
}

// knownHost refuses a Host that is not this computer while there is no
// passphrase: a page elsewhere could otherwise point its own name at loopback
// and read along (DNS rebinding).
func (g *gate) knownHost(r *http.Request) bool {
	if !g.open {
		return true
	}
	host := r.Host
	if h, _, err := net.SplitHostPort(host); err == nil {
		host = h
	}
	return loopback(strings.Trim(host, "[]"))
}

// forged says whether a changing request lacks the token that our own pages
// carry.
func forged(r *http.Request, token string) bool {
	got := r.Header.Get(tokenHeader)
	if got == "" && strings.HasPrefix(r.Header.Get("Content-Type"), "application/x-www-form-urlencoded") {
		got = r.PostFormValue(tokenField)
	}
	return token == "" || subtle.ConstantTimeCompare([]byte(got), []byte(token)) != 1
}

// roomKept is what the limit of the runtime's memory leaves free at most times, in bytes.
const roomKept = 32 << 20

// leanly keeps the 64 MiB of a hash from costing more until what it returns is
// called: the collector would let as much garbage gather beside it, and keep all of
// it for minutes; or, if the limit of memory has no room for it, collect all the
// while. Only one at a time may call it.
func leanly(hashes ...*passHash) (end func()) {
	const percent = 20
	most := uint32(0)
	for _, h := range hashes {
		if h != nil {
			most = max(most, h.kib)
		}
	}
	limit := debug.SetMemoryLimit(-1)
	if more := int64(most)<<10 - roomKept; more > 0 && limit < math.MaxInt64-more {
		debug.SetMemoryLimit(limit + more)
	}
	before := debug.SetGCPercent(percent)
	return func() {
		debug.SetGCPercent(before)
		debug.SetMemoryLimit(limit)
		debug.FreeOSMemory()
	}
}

// enter checks a passphrase. wait > 0 says when to try again after too many.
func (g *gate) enter(ctx context.Context, addr, passphrase string) (cookie string, as role, wait time.Duration) {
	wait, rank := g.mayTry(addr)
	if wait > 0 {
		return "", nobody, wait
	}
	switch err := g.hashing.take(ctx, rank); {
	case errors.Is(err, errCrowded):
		return "", nobody, crowdedWait
	case err != nil:
		return "", nobody, 0
	}
	defer g.hashing.give()
	defer leanly(g.crew, g.viewer)()
	as = nobody
	switch {
	case len(passphrase) > 1024: // hashing it would only cost time
	case g.crew != nil && g.crew.matches(passphrase):
		as = crew
	case g.viewer != nil && g.viewer.matches(passphrase):
		as = viewer
	}
	if as == nobody {
		return "", nobody, 0
	}
	g.mu.Lock()
	defer g.mu.Unlock()
	delete(g.clients, addr)
	g.remember(addr)
	g.makeRoom()
	cookie = secret()
	g.signIns[cookie] = signIn{role: as, token: secret(), until: g.now().Add(signedInFor)}
	return cookie, as, 0
}

// mayTry counts an attempt and says how long to wait when there were too many,
// and else its rank: this computer's own and addresses known from before come
// first, then who has tried least.
func (g *gate) mayTry(addr string) (wait time.Duration, rank int) {
	g.mu.Lock()
	defer g.mu.Unlock()
	now := g.now()
	c := g.clients[addr]
	if c == nil {
		if len(g.clients) >= keepClients {
			quiet := ""
			for a, x := range g.clients {
				if quiet == "" || x.last.Before(g.clients[quiet].last) {
					quiet = a
				}
			}
			delete(g.clients, quiet)
		}
		c = &client{limit: rate.NewLimiter(rate.Every(attemptGap), attempts)}
		g.clients[addr] = c
	}
	c.last = now
	if !c.limit.AllowN(now, 1) {
		return attemptGap, 0
	}
	c.tries++
	if ip, err := netip.ParseAddr(addr); err == nil && ip.IsLoopback() || now.Before(g.known[addr]) {
		return 0, 0
	}
	return 0, c.tries
}

// remember notes that somebody has signed in from an address.
func (g *gate) remember(addr string) {
	if len(g.known) >= keepKnown {
		first := ""
		for a, until := range g.known {
			if first == "" || until.Before(g.known[first]) {
				first = a
			}
		}
		delete(g.known, first)
	}
	g.known[addr] = g.now().Add(signedInFor)
}

// isKnown says whether somebody has signed in from an address lately.
func (g *gate) isKnown(addr string) bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.now().Before(g.known[addr])
}

func (g *gate) makeRoom() {
	if len(g.signIns) < keepSignIns {
		return
	}
	first := ""
	for c, in := range g.signIns {
		if first == "" || in.until.Before(g.signIns[first].until) {
			first = c
		}
	}
	delete(g.signIns, first)
}

// leave forgets a sign-in.
func (g *gate) leave(r *http.Request) {
	if c, err := r.Cookie(cookieName); err == nil {
		g.mu.Lock()
		defer g.mu.Unlock()
		delete(g.signIns, c.Value)
	}
}

// signInCookie carries the sign-in; scripts cannot read it and no other site's
// request brings it along.
func signInCookie(value string, secure bool, maxAge int) *http.Cookie {
	return &http.Cookie{Name: cookieName, Value: value, Path: "/", MaxAge: maxAge,
		HttpOnly: true, SameSite: http.SameSiteStrictMode, Secure: secure}
}

// clientAddr is the address that attempts are counted by: without the port,
// and of IPv6 only the /64 that one home gets.
func clientAddr(r *http.Request) string { return addressOf(r.RemoteAddr) }

// addressOf is that of a remote address with its port.
func addressOf(remote string) string {
	ap, err := netip.ParseAddrPort(remote)
	if err != nil {
		return remote
	}
	ip := ap.Addr().Unmap()
	if ip.Is6() && !ip.IsLoopback() {
		if p, err := ip.WithZone("").Prefix(64); err == nil {
			return p.String()
		}
	}
	return ip.String()
}
