package web

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"mime"
	"net/http"
	"strconv"
	"strings"

	"padlark/storage"
)

// ErrNotFound is returned by the seams when what was asked for does not exist.
var ErrNotFound = errors.New("not found")

func notThere(err error) bool {
	return errors.Is(err, ErrNotFound) || errors.Is(err, storage.ErrNoSession)
}

// apiError is an answer that tells a person what was wrong and how to mend it.
type apiError struct {
	Status  int    `json:"-"`
	Message string `json:"error"`
	Hint    string `json:"hint"`
}

func (e *apiError) Error() string { return e.Message }

func badRequest(field, value, hint string) *apiError {
	return &apiError{http.StatusBadRequest, fmt.Sprintf("%s: %q cannot be used", field, value), hint}
}

func notFound(what, name, hint string) *apiError {
	return &apiError{http.StatusNotFound, fmt.Sprintf("there is no %s %q", what, name), hint}
}

// absent tells that this station was set up without a part.
func absent(what string) *apiError {
	return &apiError{http.StatusNotImplemented, "this station has no " + what,
		"it is not part of this way of running padlark; use padlark run with a data folder"}
}

// asAPIError finds or makes the answer for an error.
func asAPIError(err error) *apiError {
	var e *apiError
	var tooBig *http.MaxBytesError
	switch {
	case errors.As(err, &e):
		return e
	case errors.As(err, &tooBig):
		return &apiError{http.StatusRequestEntityTooLarge, "the request is too long",
			fmt.Sprintf("send at most %d bytes", tooBig.Limit)}
	case notThere(err):
		return &apiError{http.StatusNotFound, "there is no such thing in the archive", "see /api/v1/sessions and /api/v1/flights for what there is"}
	default:
		return &apiError{http.StatusInternalServerError, "the station could not answer", "the station's log says why; try again"}
	}
}

// writeError sends an error as JSON.
func writeError(w http.ResponseWriter, e *apiError) {
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(e.Status)
	_, _ = w.Write(append(encode(e), '\n')) // the viewer may be gone
}

// writeJSON answers with v, its ETag, and compressed where that helps.
func writeJSON(w http.ResponseWriter, r *http.Request, v any) error {
	body, err := json.Marshal(v)
	if err != nil {
		return fmt.Errorf("encode answer: %w", err)
	}
	writeBody(w, r, "application/json; charset=utf-8", append(body, '\n'))
	return nil
}

// writeBody answers with a body that is at hand: 304 when the viewer has it
// already (RFC 9110, section 13.1.2), gzip when it is long enough to gain.
func writeBody(w http.ResponseWriter, r *http.Request, kind string, body []byte) {
	sum := sha256.Sum256(body)
	// Weak, because the compressed form shares the tag (RFC 9110, 8.8.3.3).
	tag := `W/"` + base64.RawURLEncoding.EncodeToString(sum[:12]) + `"`
	h := w.Header()
	h.Set("ETag", tag)
	h.Set("Content-Type", kind)
	h.Add("Vary", "Accept-Encoding")
	if h.Get("Cache-Control") == "" {
		h.Set("Cache-Control", "no-cache")
	}
	if matches(r.Header.Get("If-None-Match"), tag) {
		w.WriteHeader(http.StatusNotModified)
		return
	}
	if len(body) >= 512 && acceptsGzip(r) {
		body = squeeze(body)
		h.Set("Content-Encoding", "gzip")
	}
	h.Set("Content-Length", fmt.Sprint(len(body)))
	w.WriteHeader(http.StatusOK)
	if r.Method != http.MethodHead {
		_, _ = w.Write(body) // the viewer may be gone
	}
}

func matches(header, tag string) bool {
	for _, t := range strings.Split(header, ",") {
		t = strings.TrimSpace(t)
		if t == "*" || strings.TrimPrefix(t, "W/") == strings.TrimPrefix(tag, "W/") {
			return true
		}
	}
	return false
}

// acceptsGzip reads Accept-Encoding; "gzip;q=0" is a no.
func acceptsGzip(r *http.Request) bool {
	for _, part := range strings.Split(r.Header.Get("Accept-Encoding"), ",") {
		name, params, err := mime.ParseMediaType(strings.TrimSpace(part))
		if err == nil && (name == "gzip" || name == "*") && params["q"] != "0" && params["q"] != "0.0" {
			return true
		}
	}
	return false
}

func squeeze(body []byte) []byte {
	var out bytes.Buffer
	z, _ := gzip.NewWriterLevel(&out, gzip.BestSpeed) // the level is valid
	_, _ = z.Write(body)                              // a bytes.Buffer takes everything
	_ = z.Close()
	return out.Bytes()
}

// number is v for JSON: nil where it is not a finite number.
func number(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

// numbers writes a series as JSON, null for what is not finite, with no more
// than six significant digits: a plot needs no more, and a phone pays for it.
type numbers []float64

func (n numbers) MarshalJSON() ([]byte, error) {
	if n == nil {
		return []byte("null"), nil
	}
	out := make([]byte, 0, 8*len(n)+2)
	out = append(out, '[')
	for i, v := range n {
		if i > 0 {
			out = append(out, ',')
		}
		if math.IsNaN(v) || math.IsInf(v, 0) {
			out = append(out, "null"...)
			continue
		}
		out = appendShort(out, v)
	}
	return append(out, ']'), nil
}

// finite is a channel set without what is missing.
func finite(names []string, values []float64) map[string]float64 {
	out := make(map[string]float64, len(names))
	for i, n := range names {
		if v := values[i]; !math.IsNaN(v) && !math.IsInf(v, 0) {
			out[n] = v
		}
	}
	return out
}

// appendShort writes v with six significant digits.
func appendShort(out []byte, v float64) []byte {
	return strconv.AppendFloat(out, v, 'g', 6, 64)
}

// seconds writes times in s, to the millisecond.
type seconds []float64

func (n seconds) MarshalJSON() ([]byte, error) {
	out := make([]byte, 0, 8*len(n)+2)
	out = append(out, '[')
	for i, v := range n {
		if i > 0 {
			out = append(out, ',')
		}
		out = strconv.AppendFloat(out, math.Round(v*1e3)/1e3, 'f', -1, 64)
	}
	return append(out, ']'), nil
}
