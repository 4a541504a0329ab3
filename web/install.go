package web

import "net/http"

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
