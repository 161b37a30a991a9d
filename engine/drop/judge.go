package drop

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"coilside/engine/quantity"
	"coilside/rules"
)

// groundKinds lie on the ground side where nothing else is said.
var groundKinds = []string{"ground", "starter_ground"}

// path is a Path with everything checked.
type path struct {
	table        *rules.Table
	kind         string  // of the whole: load_path, coil_path, starter_path
	volts, amps  float64 // system, measured
	rated        float64
	supply, load float64 // NaN if not read
	resolution   float64
	between      float64
	hot          float64 // watts
}

// Judge holds the drops of a path against the limits of the table drop_limits. The
// error is a *quantity.FieldError that names the field, or a *rules.Error for a table
// that cannot be used.
func Judge(book *rules.Book, in Path) (Judgement, error) {
	p, err := in.check(book)
	if err != nil {
		return Judgement{}, err
	}
	out := Judgement{Verdict: "good", Parts: []PieceJudged{}, Cautions: []string{
		"Leads on the same points while the load runs; keep clear of what moves.",
		"No drop test on restraint or high-voltage circuits.",
	}}
	var total float64
	for _, piece := range in.Parts {
		total += float64(*piece.Volts)
	}
	for _, piece := range in.Parts {
		j := p.judge(cmp.Or(piece.Part, words(piece.Kind)), piece.Kind, float64(*piece.Volts), total)
		out.Parts = append(out.Parts, j)
		side := &out.SupplySide
		if piece.Side == "ground" || piece.Side == "" && slices.Contains(groundKinds, piece.Kind) {
			side = &out.GroundSide
		}
		side.Volts += j.Volts
		side.Watts += j.Watts
	}
	p.whole(&out, total)
	p.conclude(&out)
	return out, nil
}

func (in Path) check(book *rules.Book) (*path, error) {
	p := &path{}
	var err error
	if p.table, err = book.Table("drop_limits", "kind", "judges", "volts", "volts_24", "per_amps", "percent", "ohms"); err != nil {
		return nil, err
	}
	if p.resolution, err = book.Value("drop_resolution"); err != nil {
		return nil, err
	}
	if p.between, err = book.Value("drop_unmeasured"); err != nil {
		return nil, err
	}
	if p.hot, err = book.Value("drop_hot_watts"); err != nil {
		return nil, err
	}
	var f quantity.Fields
	p.kind = quantity.Choice(&f, "path", in.Path, "load", "load", "coil", "starter") + "_path"
	p.volts = quantity.System(&f, "system_volts", in.SystemVolts)
	ampsIn := quantity.Range{Low: 0, High: 2000, Unit: "A", Above: true, Hint: "Is it in milliamperes?"}
	if in.Amps == nil {
		f.Wrong("amps", "is missing: a drop means nothing without the current that flowed. Clamp it, or read a fuse's millivolts")
	} else {
		p.amps = quantity.Need(&f, "amps", in.Amps, ampsIn)
	}
	p.rated = quantity.Or(&f, "rated_amps", in.RatedAmps, p.amps, ampsIn)
	most := quantity.Range{Low: 0, High: 1.5 * p.volts, Unit: "V", Hint: "Is it in millivolts?"}
	p.supply, p.load = math.NaN(), math.NaN()
	if in.SupplyVolts != nil {
		p.supply = quantity.Need(&f, "supply_volts", in.SupplyVolts, most)
	}
	if in.LoadVolts != nil {
		p.load = quantity.Need(&f, "load_volts", in.LoadVolts, most)
	}
	if p.load > p.supply+0.2 {
		f.Wrong("load_volts", "is %s V, more than the supply's %s V", quantity.Plain(p.load), quantity.Plain(p.supply))
	}
	p.parts(&f, in.Parts, most)
	return p, f.Err
}

func (p *path) parts(f *quantity.Fields, parts []Piece, most quantity.Range) {
	if len(parts) == 0 {
		f.Wrong("parts", "is missing: list each part with the volts read across it")
	}
	kinds := p.kinds()
	for i, piece := range parts {
		at := fmt.Sprintf("parts.%d.", i)
		quantity.Choice(f, at+"kind", piece.Kind, "", kinds...)
		quantity.Choice(f, at+"side", piece.Side, "supply", "supply", "ground")
		v := quantity.Need(f, at+"volts", piece.Volts, quantity.Range{Low: math.Inf(-1), High: most.High, Unit: "V", Hint: most.Hint})
		if v < -p.resolution {
			f.Wrong(at+"volts", "is %s V, below zero: the leads are the wrong way round, or current flows the other way. Swap them and read again", quantity.Plain(v))
		}
	}
}

// kinds lists the kinds of part that the table has limits for.
func (p *path) kinds() []string {
	var out []string
	for _, r := range p.table.Rows {
		if k := r.Text("kind"); !strings.HasSuffix(k, "_path") && !slices.Contains(out, k) {
			out = append(out, k)
		}
	}
	return out
}

// judge holds one drop against every limit of its kind.
func (p *path) judge(part, kind string, volts, total float64) PieceJudged {
	j := PieceJudged{Part: part, Kind: kind, Verdict: "good", Volts: volts, Ohms: volts / p.amps, Watts: volts * p.amps, Limits: []Limit{}}
	j.AtRated = volts * p.rated / p.amps
	if total > 0 {
		j.Share = volts / total
	}
	for _, r := range p.table.Rows {
		if r.Text("kind") != kind {
			continue
		}
		allowed, at, ok := p.allowed(r)
		if !ok {
			continue
		}
		had := volts * at / p.amps
		l := Limit{Limit: r.Key, Volts: allowed, Judges: r.Text("judges") == "yes", Source: r.Source, Keeps: had <= max(allowed, p.resolution)*(1+1e-9)}
		if l.Judges && !l.Keeps {
			j.Verdict = "high"
			j.excess = max(j.excess, (had-allowed)*p.rated/at)
		}
		j.Limits = append(j.Limits, l)
	}
	return j
}

// allowed gives a row's limit in volts and the current it holds at: one that goes
// with the current holds at the one measured, a plain number of volts at the rated.
func (p *path) allowed(r *rules.Row) (volts, amps float64, ok bool) {
	if percent, ok := r.Number("percent"); ok {
		return p.volts * percent / 100, p.rated, true
	}
	if ohms, ok := r.Number("ohms"); ok {
		return ohms * p.amps, p.amps, true
	}
	volts, ok = r.Number("volts")
	if v24, has := r.Number("volts_24"); has && p.volts == 24 {
		volts, ok = v24, true
	}
	if per, goes := r.Number("per_amps"); goes && per > 0 {
		return volts * p.amps / per, p.amps, ok
	}
	return volts, p.rated, ok
}

// whole judges what the path takes altogether: from the supply's and the load's
// volts where both were read, else from the parts.
func (p *path) whole(out *Judgement, sum float64) {
	lost := sum
	if !math.IsNaN(p.supply) && !math.IsNaN(p.load) {
		lost = p.supply - p.load
		if missing := lost - sum; math.Abs(missing) > p.between {
			out.MissingLoss = &missing
		}
	}
	out.Total = p.judge("whole path", p.kind, lost, lost)
}

func words(kind string) string { return strings.ReplaceAll(kind, "_", " ") }
