package station

import (
	"context"

	"golang.org/x/sync/errgroup"
)

// startExtras starts what a station can do without: pages, callouts, the copy
// to a time-series server, the uplink. It returns the address of the pages.
func (s *station) startExtras(ctx context.Context, g *errgroup.Group) (pages string, err error) {
	s.startCaller(ctx, g)
	if s.copy, err = s.startInflux(ctx, g); err != nil {
		return "", err
	}
	if err := s.startUplink(ctx, g); err != nil {
		return "", err
	}
	if s.cfg.Web.Listen == "off" {
		return "", nil
	}
	return s.startPages(ctx, g)
}
