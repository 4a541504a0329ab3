// Package smooth works a flight out after it, from all its samples at once.
package smooth
