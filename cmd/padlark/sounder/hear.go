// Package sounder turns recordings of a board's sounder into flights: for the
// command that imports a recording and for the page that takes one. The sound is
// heard by ingest/beeps and read by decode/beeps; what is kept is a session of its
// own, with the strips as its frames, as any other log.
package sounder

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"time"

	"padlark/cmd/padlark/config"
	"padlark/decode"
	"padlark/decode/beeps"
	"padlark/ingest"
	hear "padlark/ingest/beeps"
)

// Layout finds a layout of sounders. name may be empty where there is only one.
func Layout(cfg *config.Config, name string) (decode.Layout, error) {
	var found []decode.Layout
	for _, l := range cfg.Layouts {
		if l.Form == decode.Beeps && (name == "" || l.Name == name) {
			found = append(found, l)
		}
	}
	switch {
	case len(found) == 0 && name != "":
		return decode.Layout{}, fmt.Errorf("the layout %q is none of a sounder; write one with form = \"beeps\" and framing = \"beeps\"", name)
	case len(found) == 0:
		return decode.Layout{}, errors.New("no layout says how the sounder beeps; write one with form = \"beeps\" and framing = \"beeps\", as padlark check --example shows")
	case len(found) > 1:
		return decode.Layout{}, fmt.Errorf("there are %d layouts of sounders; name one, such as %q", len(found), found[0].Name)
	}
	return found[0], nil
}

// Code is how a layout's sounder beeps.
func Code(l decode.Layout) beeps.Code {
	if l.Beeps == nil {
		return beeps.Code{}
	}
	return *l.Beeps
}

// Heard is one tone of a recording.
type Heard struct {
	Strip   hear.Strip
	Bytes   []byte        // the strip as a frame
	At      time.Duration // since the recording's begin: when it was complete
	Reading beeps.Reading
}

// Recording is what was heard in a whole recording.
type Recording struct {
	Tones  []Heard
	Length time.Duration
	Sum    [sha256.Size]byte // of its bytes
}

// errNoConverter is wrapped where a file is no WAV and nothing can convert it.
var errNoConverter = errors.New("only WAV files can be read without help")

// Listen reads a recording: WAV, or raw samples where the layout's framing gives a
// rate, or whatever a converter on this computer reads.
func Listen(ctx context.Context, r io.Reader, l decode.Layout) (Recording, error) {
	var head [12]byte
	n, err := io.ReadFull(r, head[:])
	if err != nil && !errors.Is(err, io.ErrUnexpectedEOF) {
		return Recording{}, fmt.Errorf("read recording: %w", err)
	}
	in := io.MultiReader(bytes.NewReader(head[:n]), r)
	if string(head[:4]) == "RIFF" || l.Framing.Rate != 0 {
		return listen(ctx, in, l)
	}
	return convert(ctx, in, l)
}

// ListenWAV reads a recording without the help of another program.
func ListenWAV(ctx context.Context, r io.Reader, l decode.Layout) (Recording, error) {
	return listen(ctx, r, l)
}

// convert lets another program make a WAV of it. The recording goes through a file:
// a converter looks at its beginning and then goes back, which a pipe cannot.
func convert(ctx context.Context, in io.Reader, l decode.Layout) (Recording, error) {
	file, err := os.CreateTemp("", "padlark-sound-")
	if err != nil {
		return Recording{}, fmt.Errorf("convert recording: %w", err)
	}
	defer os.Remove(file.Name()) //nolint:errcheck // in the folder for temporary files anyway
	_, err = io.Copy(file, in)
	if err = errors.Join(err, file.Close()); err != nil {
		return Recording{}, fmt.Errorf("convert recording: %w", err)
	}
	var args []string
	for _, c := range [][]string{
		{"ffmpeg", "-v", "error", "-i", file.Name(), "-f", "wav", "-ac", "1", "-"},
		{"sox", file.Name(), "-t", "wav", "-b", "16", "-e", "signed", "-c", "1", "-"},
	} {
		if _, err := exec.LookPath(c[0]); err == nil {
			args = c
			break
		}
	}
	if args == nil {
		return Recording{}, fmt.Errorf("%w: install ffmpeg or sox, or save the recording as WAV", errNoConverter)
	}
	cmd := exec.CommandContext(ctx, args[0], args[1:]...)
	var said bytes.Buffer
	cmd.Stderr = &said
	out, err := cmd.StdoutPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		return Recording{}, fmt.Errorf("start %s: %w", args[0], err)
	}
	rec, bad := listen(ctx, out, l)
	_, _ = io.Copy(io.Discard, out) // so that it can end
	if err := cmd.Wait(); err != nil && rec.Length == 0 {
		return rec, fmt.Errorf("%s cannot read it (%w): %s", args[0], err, firstLine(said.Bytes()))
	}
	return rec, bad
}

func firstLine(b []byte) string {
	line, _, _ := bytes.Cut(bytes.TrimSpace(b), []byte("\n"))
	return string(line)
}

func listen(ctx context.Context, r io.Reader, l decode.Layout) (rec Recording, err error) {
	pcm, err := hear.NewPCM(l.Framing.SoundFormat())
	if err != nil {
		return rec, err
	}
	var ear *hear.Listener
	sum, samples := sha256.New(), 0
	code := Code(l)
	take := func(strips []hear.Strip) {
		for _, s := range strips {
			rec.Tones = append(rec.Tones, Heard{Strip: s, Bytes: s.AppendBinary(nil), At: rec.Length, Reading: beeps.Read(s, code)})
		}
	}
	buf := make([]byte, 1<<16)
	for {
		n, end := r.Read(buf)
		sum.Write(buf[:n])
		heard, err := pcm.Push(buf[:n])
		if err != nil {
			return rec, err
		}
		if ear == nil && len(heard) > 0 {
			if ear, err = hear.NewListener(pcm.Format().Rate); err != nil {
				return rec, err
			}
		}
		samples += len(heard)
		rec.Length = time.Duration(float64(samples) / float64(pcm.Format().Rate) * 1e9)
		if ear != nil {
			take(ear.Push(heard))
		}
		if err := ctx.Err(); err != nil {
			return rec, err
		}
		if errors.Is(end, io.EOF) {
			break
		}
		if end != nil {
			return rec, fmt.Errorf("read recording: %w", end)
		}
	}
	if ear == nil {
		return rec, fmt.Errorf("%w: there is not one sample in it", hear.ErrSound)
	}
	take(ear.End())
	copy(rec.Sum[:], sum.Sum(nil))
	return rec, nil
}

// oneSounder says whether two sounders with different numbers were heard.
func (r *Recording) oneSounder() error {
	var first *Heard
	for i := range r.Tones {
		t := &r.Tones[i]
		switch {
		case !t.Reading.Sure:
		case first == nil:
			first = t
		case first.Reading.Number != t.Reading.Number:
			return fmt.Errorf("two sounders were heard, %d at %d Hz and %d at %d Hz: give the layout low_hz and high_hz of the one that is meant",
				first.Reading.Number, first.Reading.PitchHz, t.Reading.Number, t.Reading.PitchHz)
		}
	}
	return nil
}

// Frames are the strips as the frames of a link of a session, from its epoch on.
func (r *Recording) Frames(session, link string, epoch time.Time) []ingest.Frame {
	var out []ingest.Frame
	for i, t := range r.Tones {
		passed := int64(t.At) + int64(i) + 1 // it rises strictly
		out = append(out, ingest.Frame{Session: session, Link: link, N: uint64(i + 1), Heard: epoch.Add(t.At), Mono: int64(t.At), Passed: passed,
			Wire: len(t.Bytes), Bytes: t.Bytes})
	}
	return out
}

// Short is the sum in some digits: it goes into names.
func (r *Recording) Short() string { return hex.EncodeToString(r.Sum[:4]) }
