package jpeg2000

// significance gives the context of a coefficient by kind of band and flags of neighbours. Source: T.800 table D.1.
var significance = func() (all [4][256]uint8) {
	count := func(f int, flags ...int) (n int) {
		for _, flag := range flags {
			if f&flag != 0 {
				n++
			}
		}
		return n
	}
	for f := range 256 {
		h, v := count(f, east, west), count(f, north, south)
		d := count(f, northEast, northWest, southEast, southWest)
		all[lowest][f] = straight(h, v, d)
		all[vertical][f] = all[lowest][f]
		all[horizontal][f] = straight(v, h, d)
		all[diagonal][f] = crossed(h+v, d)
	}
	return all
}()

// straight is table D.1 for bands that are low-pass across: h neighbours beside, v above and below, d at the corners.
func straight(h, v, d int) uint8 {
	switch {
	case h == 2:
		return 8
	case h == 1 && v > 0:
		return 7
	case h == 1 && d > 0:
		return 6
	case h == 1:
		return 5
	case v > 0:
		return uint8(2 + v)
	}
	return uint8(min(d, 2))
}

// crossed is table D.1 for the diagonal band.
func crossed(hv, d int) uint8 {
	switch {
	case d > 2:
		return 8
	case d == 2:
		return uint8(6 + min(hv, 1))
	case d == 1:
		return uint8(3 + min(hv, 2))
	}
	return uint8(min(hv, 2))
}

// signs gives the context of a sign by the flags of four neighbours, and their signs in the upper half; bit 7 says that the
// sign is coded the other way round. Source: T.800 tables D.2 and D.3.
var signs = func() (all [256]uint8) {
	for i := range all {
		one := func(flag int) int {
			if i&flag == 0 {
				return 0
			}
			return 1 - 2*((i>>4&flag)/flag)
		}
		h := min(max(one(east)+one(west), -1), 1)
		v := min(max(one(north)+one(south), -1), 1)
		flip := uint8(0)
		if h < 0 || h == 0 && v < 0 {
			h, v, flip = -h, -v, 0x80
		}
		all[i] = uint8(contextSign+3*h+v) | flip
	}
	return all
}()
