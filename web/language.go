package web

import (
	"regexp"
	"strings"
	"unicode"

	"padlark/flight/phrase"
)

var (
	// pieces cut a template into actions, tags and the text between them.
	pieces = regexp.MustCompile(`(?s)\{\{.*?\}\}|<(?:\{\{.*?\}\}|[^>])*>|[^<{]+|\{`)
	// readAttributes are those that a person reads or hears.
	readAttributes = regexp.MustCompile(`\b(?:title|aria-label|data-label|placeholder)="([^"{]+)"`)
	spaces         = regexp.MustCompile(`\s+`)
)

// inLanguage puts the reader's language into a template: each text between its tags
// and each attribute that is read is a fixed text of the catalogue. The templates
// themselves are plain English.
func inLanguage(template string, say func(string) string) string {
	code := false
	return pieces.ReplaceAllStringFunc(template, func(piece string) string {
		switch {
		case strings.HasPrefix(piece, "{"):
			return piece
		case strings.HasPrefix(piece, "<"):
			code = strings.HasPrefix(piece, "<code")
			return readAttributes.ReplaceAllStringFunc(piece, func(a string) string {
				name, text, _ := strings.Cut(a, `"`)
				return name + `"` + say(strings.TrimSuffix(text, `"`)) + `"`
			})
		case code || !strings.ContainsFunc(piece, unicode.IsLetter):
			return piece
		}
		text := strings.TrimLeft(strings.Trim(piece, " \n,:;()·“”"), ". ")
		at := strings.Index(piece, text)
		return piece[:at] + say(spaces.ReplaceAllString(text, " ")) + piece[at+len(text):]
	})
}

// says writes fixed texts for a language.
func says(l phrase.Language) func(string) string { return phrase.Reader{Language: l}.Say }
