package words

import "math"

// This file pairs places with what was read there, in the order they were said.

// symbol is a place or a value in the order said.
type symbol struct {
	place bool
	item  item
}

// split pairs places and values in the order said. Where they do not pair off,
// all stay in one frame, which is then asked about.
func (f frame) split(syms []symbol) []frame {
	syms = f.respectively(inNumbers(syms))
	places, vals := 0, 0
	alternate := true
	for i, s := range syms {
		if s.place {
			places++
		} else {
			vals++
		}
		alternate = alternate && (i == 0 || s.place != syms[i-1].place)
	}
	switch {
	case !alternate || places < 2 || vals == 0:
	case places == vals:
		return f.zip(syms)
	case places == vals+1: // "86 dead and 30": what 30 read may follow
		out := f.zip(syms[:len(syms)-1])
		f.acts, f.outcomes = nil, nil
		f.take(syms[len(syms)-1])
		return append(out, f)
	}
	f.takeAll(syms)
	return []frame{f}
}

func (f *frame) takeAll(syms []symbol) {
	for _, s := range syms {
		f.take(s)
	}
}

// inNumbers leaves out what the number after it says better: "live 12.3", "dead 0.02".
func inNumbers(syms []symbol) []symbol {
	var out []symbol
	for i, s := range syms {
		if i+1 < len(syms) && !s.place && s.item.kind != kNum && !syms[i+1].place && syms[i+1].item.kind == kNum {
			v := math.Abs(value(syms[i+1].item.num))
			if s.item.concept == "live" && v >= 1 || (s.item.concept == "dead" || s.item.concept == "nothing") && v < 0.5 {
				continue
			}
		}
		out = append(out, s)
	}
	return out
}

// respectively parts "86 and 85 read 12.4 and 0.3" into two pairs.
func (f frame) respectively(syms []symbol) []symbol {
	if len(syms) != 3 || !syms[0].place || syms[1].place || syms[2].place || f.act("jumping") {
		return syms
	}
	p := syms[0].item.place
	if len(p.spots) != 2 || p.pair {
		return syms
	}
	a, b := syms[0], syms[0]
	a.item.place, b.item.place = placeRef{spots: p.spots[:1]}, placeRef{spots: p.spots[1:]}
	return []symbol{a, syms[1], b, syms[2]}
}

func (f frame) zip(syms []symbol) []frame {
	var out []frame
	for i := 0; i+1 < len(syms); i += 2 {
		g := f
		g.take(syms[i])
		g.take(syms[i+1])
		g.raw = syms[i].item.raw + " " + syms[i+1].item.raw
		if i > 0 {
			g.outcomes, g.acts = nil, nil
		}
		out = append(out, g)
	}
	return out
}

func (f *frame) take(s symbol) {
	switch {
	case s.place:
		f.places = append(append([]placeRef(nil), f.places...), s.item.place)
	case s.item.kind == kNum:
		f.nums = append(append([]item(nil), f.nums...), s.item)
	default:
		f.values = append(append([]string(nil), f.values...), s.item.concept)
	}
}
