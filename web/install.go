package web

import (
	"fmt"
	"html/template"
	"net"
	"net/http"
	"strings"

	"rsc.io/qr"
)

// serveManifest describes the pages as an application that a phone can put on its
// home screen (W3C Web Application Manifest).
func (s *Server) serveManifest(w http.ResponseWriter, r *http.Request) error {
	type icon struct {
		Src     string `json:"src"`
		Sizes   string `json:"sizes"`
		Type    string `json:"type"`
		Purpose string `json:"purpose"`
	}
	var icons []icon
	for _, size := range []string{"192", "512"} {
		src, err := s.assets.path("icon-" + size + ".png")
		if err != nil {
			return err
		}
		icons = append(icons, icon{src, size + "x" + size, "image/png", "any maskable"})
	}
	writeBody(w, r, "application/manifest+json", encode(struct {
		ID         string `json:"id"`
		Name       string `json:"name"`
		ShortName  string `json:"short_name"`
		StartURL   string `json:"start_url"`
		Scope      string `json:"scope"`
		Display    string `json:"display"`
		Background string `json:"background_color"`
		Theme      string `json:"theme_color"`
		Icons      []icon `json:"icons"`
	}{"/", "padlark " + s.opt.Station, s.opt.Station, "/", "/", "standalone", "#ffffff", "#0b1f24", icons}))
	return nil
}

// pageJoin tells how phones get in: the address, as a QR code to scan, and, to the
// crew, the passphrase if the station made it. It prints as a sheet for the field.
func (s *Server) pageJoin(w http.ResponseWriter, r *http.Request) error {
	data := struct {
		Address    string
		Code       template.HTML
		Passphrase string
		Alone      bool // nobody else can reach the pages
		Secure     bool
	}{Address: s.address(r), Alone: s.gate.open, Secure: r.TLS != nil}
	if as, _ := s.gate.who(r); as == crew {
		data.Passphrase = s.opt.Passphrase
	}
	code, err := qr.Encode(data.Address, qr.M)
	if err != nil {
		return fmt.Errorf("make the code of %q: %w", data.Address, err)
	}
	data.Code = codeSVG(code)
	return s.render(w, r, http.StatusOK, "join", "join", "Phones", data)
}

// address is where others reach the pages: as the station says, or as whoever
// asks has reached them.
func (s *Server) address(r *http.Request) string {
	if host, _, err := net.SplitHostPort(r.Host); err == nil && !loopback(host) || s.opt.Address == nil {
		scheme := "http"
		if r.TLS != nil {
			scheme = "https"
		}
		return scheme + "://" + r.Host + "/"
	}
	return s.opt.Address()
}

// quiet is the margin around a code, in modules (ISO/IEC 18004, from memory).
const quiet = 4

// codeSVG draws a code: one path, one unit a module.
func codeSVG(c *qr.Code) template.HTML {
	var path strings.Builder
	for y := range c.Size {
		for x := range c.Size {
			if c.Black(x, y) {
				fmt.Fprintf(&path, "M%d %dh1v1h-1z", x+quiet, y+quiet)
			}
		}
	}
	n := c.Size + 2*quiet
	// Nothing in it comes from outside.
	return template.HTML(fmt.Sprintf(`<svg class="code" role="img" aria-label="The address as a QR code" viewBox="0 0 %d %d" shape-rendering="crispEdges"><path fill="#fff" d="M0 0h%dv%dH0z"/><path fill="#000" d="%s"/></svg>`, n, n, n, n, path.String()))
}

// CodeText writes a text as a QR code for a terminal, two modules to a character:
// what is light in the code is drawn, as most terminals are dark. Phones read it
// the other way round too.
func CodeText(text string) (string, error) {
	c, err := qr.Encode(text, qr.L)
	if err != nil {
		return "", fmt.Errorf("make a QR code of %q: %w", text, err)
	}
	var b strings.Builder
	for y := -2; y < c.Size+2; y += 2 {
		for x := -2; x < c.Size+2; x++ {
			switch up, low := c.Black(x, y), c.Black(x, y+1); {
			case up && low:
				b.WriteString(" ")
			case up:
				b.WriteString("▄")
			case low:
				b.WriteString("▀")
			default:
				b.WriteString("█")
			}
		}
		b.WriteString("\n")
	}
	return b.String(), nil
}

// serveWorker is the script that a browser keeps where the pages come by TLS. It
// stands at the top, since it may only look after what lies below it.
func (s *Server) serveWorker(w http.ResponseWriter, _ *http.Request) error {
	w.Header().Set("Content-Type", "text/javascript; charset=utf-8")
	w.Header().Set("Cache-Control", "no-cache")
	_, _ = w.Write(s.assets.files["worker.js"].plain) // the viewer may be gone
	return nil
}
