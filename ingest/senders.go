package ingest

import (
	"fmt"
	"net/netip"
)

// reasonSender: it came from an address that the link does not take from.
const reasonSender = "sender not named"

// senders are the networks that a link takes from; none means all.
type senders []netip.Prefix

// parseSenders reads addresses and networks.
func parseSenders(list []string) (senders, error) {
	var out senders
	for _, text := range list {
		if p, err := netip.ParsePrefix(text); err == nil {
			out = append(out, p.Masked())
			continue
		}
		a, err := netip.ParseAddr(text)
		if err != nil || a.Zone() != "" {
			return nil, fmt.Errorf("hold %q, which is neither an address nor a network", text)
		}
		a = a.Unmap()
		out = append(out, netip.PrefixFrom(a, a.BitLen()))
	}
	return out, nil
}

// allow says whether the link takes from an address.
func (s senders) allow(a netip.Addr) bool {
	if len(s) == 0 {
		return true
	}
	a = a.Unmap().WithZone("")
	for _, p := range s {
		if p.Contains(a) {
			return true
		}
	}
	return false
}
