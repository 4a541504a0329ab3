package journal

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/klauspost/compress/zstd"

	"padlark/ingest"
)

// Pack compresses the journal of a session that has ended, in one step: at any
// moment there is the plain file or the compressed one, whole. It returns the
// new file's path.
func Pack(ctx context.Context, path string) (packed string, err error) {
	packed = strings.TrimSuffix(path, Suffix) + Packed
	if err := keep(ctx, path, packed); err != nil {
		return "", err
	}
	return packed, os.Remove(path)
}

// Keep puts a copy of a journal that is written no more, compressed or not, into
// a folder of journals, in place of an earlier copy of the same session.
func Keep(ctx context.Context, path, dir string) error {
	r, err := Open(path, nil)
	if err != nil {
		return err
	}
	if err := errors.Join(r.Close(), os.MkdirAll(dir, 0o755)); err != nil {
		return fmt.Errorf("keep journal: %w", err)
	}
	return keep(ctx, path, filepath.Join(dir, r.Info().Session+Packed))
}

func keep(ctx context.Context, path, packed string) error {
	in, err := os.Open(path)
	if err != nil {
		return fmt.Errorf("compress journal: %w", err)
	}
	defer in.Close() //nolint:errcheck // it was only read from
	tmp := packed + ".new"
	if err := pack(ctx, in, tmp); err != nil {
		return errors.Join(fmt.Errorf("compress journal %s: %w", path, err), os.Remove(tmp))
	}
	err = os.Rename(tmp, packed)
	if err == nil {
		err = syncDir(filepath.Dir(packed))
	}
	if err != nil {
		return fmt.Errorf("compress journal: %w", err)
	}
	return nil
}

func pack(ctx context.Context, in io.Reader, path string) error {
	plain, err := ingest.Unpacked(readerFunc(func(b []byte) (int, error) {
		if err := ctx.Err(); err != nil {
			return 0, err
		}
		return in.Read(b)
	}))
	if err != nil {
		return err
	}
	out, err := os.Create(path)
	if err != nil {
		return err
	}
	z, err := zstd.NewWriter(out, zstd.WithEncoderLevel(zstd.SpeedBetterCompression), zstd.WithEncoderConcurrency(1), zstd.WithWindowSize(4<<20))
	if err != nil {
		return errors.Join(err, out.Close())
	}
	return errors.Join(ingest.PackCapture(z, plain), z.Close(), out.Sync(), out.Close())
}

type readerFunc func([]byte) (int, error)

func (f readerFunc) Read(b []byte) (int, error) { return f(b) }

// List names the journals of a folder, compressed or not, oldest name first.
func List(dir string) ([]string, error) {
	entries, err := os.ReadDir(dir)
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("list journals: %w", err)
	}
	var out []string
	for _, e := range entries {
		if n := e.Name(); strings.HasSuffix(n, Suffix) || strings.HasSuffix(n, Packed) {
			out = append(out, filepath.Join(dir, n))
		}
	}
	return out, nil
}

// SessionOf is the session that a journal's file name stands for.
func SessionOf(path string) string {
	name, _, _ := strings.Cut(filepath.Base(path), Suffix)
	return name
}
