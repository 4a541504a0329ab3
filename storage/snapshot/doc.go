// Package snapshot turns values in memory into bytes and back, with all that they
// point to: what an estimator or a decoder has learnt, so that it need not learn
// it again. It takes every field, exported or not, so that none can be forgotten
// when one is added, and so it knows nothing of what the fields mean.
//
// A snapshot is read only by a program whose types are laid out as those of the
// one that wrote it; Read refuses every other, and every one that is damaged. It
// is a shortcut and never the only copy of anything.
//
// It imports nothing of ours. The only unsafe code of the project is here; what
// keeps it safe is at the top of memory.go.
package snapshot
