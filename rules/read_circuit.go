package rules

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"
)

var elementKinds = []string{
	"source", "wire", "joint", "fuse", "key", "control", "coil", "make", "rest",
	"suppressor", "load", "ground", "plug", "armature", "terminal", "neighbour", "alternator",
}

func (r *reader) circuit(n *yaml.Node) *Circuit {
	o := r.object(n, "circuit", "id", "words", "wiring", "allow", "names", "vary", "parts", "chains", "surroundings")
	c := &Circuit{ID: o.id(), Words: o.text("words"), Pos: o.pos(), at: o.spots()}
	for _, item := range o.items("wiring") {
		c.Wiring = append(c.Wiring, r.wiring(item))
	}
	for _, item := range o.items("allow") {
		c.Allow = append(c.Allow, r.formula(item))
	}
	for _, item := range o.items("names") {
		w := r.object(item, "name", "id", "is")
		w.need("is")
		c.Names = append(c.Names, &DerivedName{ID: w.id(), Is: r.formula(w.at("is")), Pos: w.pos(), at: w.spots()})
	}
	for _, item := range o.items("vary") {
		c.Vary = append(c.Vary, r.quantity(item))
	}
	for _, item := range o.items("parts") {
		c.Parts = append(c.Parts, r.element(item))
	}
	for _, item := range o.items("chains") {
		c.Chains = append(c.Chains, r.chain(item))
	}
	for _, item := range o.items("surroundings") {
		w := r.object(item, "surrounding", "id", "words", "chains")
		w.need("chains")
		s := &Surrounding{ID: w.id(), Words: w.text("words"), Pos: w.pos(), at: w.spots()}
		for _, chain := range w.items("chains") {
			s.Chains = append(s.Chains, r.chain(chain))
		}
		c.Surroundings = append(c.Surroundings, s)
	}
	return c
}

func (r *reader) wiring(n *yaml.Node) *Wiring {
	o := r.object(n, "wiring", "id", "words", "of", "number", "unit")
	o.need("of")
	w := &Wiring{ID: o.id(), Words: o.text("words"), Number: o.flag("number"), Unit: o.text("unit"), Pos: o.pos(), at: o.spots()}
	sum := 0.0
	for _, s := range o.shares("of", 1e9) {
		w.Of = append(w.Of, s.key)
		w.Shares = append(w.Shares, s.number)
		sum += s.number
		if _, err := strconv.ParseFloat(s.key, 64); w.Number && err != nil {
			r.fail(s.at, CodeType, "", "the choices of a number are numbers, but this is %q", s.key)
		}
	}
	if o.has("of") && !(sum > 0) {
		r.fail(o.at("of"), CodeValue, "", "the shares of %q add up to nothing", w.ID)
	}
	return w
}

var spreadKeys = []string{"about", "spread", "plus_minus", "between", "even"}

// spread reads the ways in which a number may vary.
func (r *reader) spread(n *yaml.Node) *Spread {
	if n == nil {
		return nil
	}
	if n.Kind == yaml.ScalarNode {
		return &Spread{Exactly: r.formula(n), Pos: r.spot(n).pos()}
	}
	o := r.object(n, "spread", spreadKeys...)
	s := o.spreadFields()
	return &s
}

func (o *object) spreadFields() Spread {
	if o == nil {
		return Spread{}
	}
	r := o.r
	s := Spread{
		About: r.formula(o.at("about")), Spread: r.formula(o.at("spread")), PlusMinus: r.formula(o.at("plus_minus")),
		Between: o.pair("between"), Even: o.pair("even"), Pos: o.pos(),
	}
	forms := 0
	for _, key := range []string{"about", "between", "even"} {
		if o.has(key) {
			forms++
		}
	}
	const how = "a number, {about, spread}, {about, plus_minus}, {between: [low, high]} or {even: [low, high]}"
	switch {
	case forms != 1:
		r.fail(o.node, CodeMissing, "write "+how, "it is not clear how this %s varies", o.what)
	case o.has("about") && o.has("spread") == o.has("plus_minus"):
		r.fail(o.at("about"), CodeMissing, "write "+how, "beside \"about\" belongs either \"spread\" or \"plus_minus\"")
	case o.has("plus_minus") && !o.has("about"):
		r.fail(o.at("plus_minus"), CodeField, "write "+how, "\"plus_minus\" belongs beside \"about\"")
	case o.has("spread") && !o.has("about") && !o.has("known"):
		r.fail(o.at("spread"), CodeField, "write "+how, "\"spread\" belongs beside \"about\"")
	}
	return s
}

func (o *object) pair(key string) []*Formula {
	if !o.has(key) {
		return nil
	}
	items := o.items(key)
	if len(items) != 2 {
		o.r.fail(o.at(key), CodeType, key+": [low, high]", "%q takes two numbers", key)
		return nil
	}
	return []*Formula{o.r.formula(items[0]), o.r.formula(items[1])}
}

func (r *reader) quantity(n *yaml.Node) *Quantity {
	o := r.object(n, "quantity", append([]string{"id", "unit", "known", "known_spread", "exactly"}, spreadKeys...)...)
	q := &Quantity{ID: o.id(), Unit: o.text("unit"), Known: o.text("known"), Pos: o.pos(), at: o.spots()}
	if o.has("exactly") {
		q.Value = Spread{Exactly: r.formula(o.at("exactly")), Pos: o.pos()}
	} else {
		q.Value = o.spreadFields()
	}
	if q.Known != "" {
		q.KnownSpread = r.formula(o.at("spread"))
		if o.has("known_spread") {
			q.KnownSpread = r.formula(o.at("known_spread"))
		}
	}
	return q
}

func (r *reader) element(n *yaml.Node) *Element {
	o := r.object(n, "part", "id", "kind", "words", "values")
	o.need("kind")
	e := &Element{ID: o.id(), Kind: o.choice("kind", elementKinds...), Words: o.text("words"), Values: map[string]Spread{}, Pos: o.pos(), at: o.spots()}
	values := o.at("values")
	if values == nil {
		return e
	}
	if values.Kind != yaml.MappingNode {
		r.fail(values, CodeType, "values: {ohms: 0.1}", "\"values\" gives each value a number, but this is %s", nodeKind(values))
		return e
	}
	for i := 0; i+1 < len(values.Content); i += 2 {
		key := values.Content[i]
		if _, twice := e.Values[key.Value]; twice {
			r.fail(key, CodeDuplicate, "keep one of them", "%q is given twice", key.Value)
		}
		if s := r.spread(values.Content[i+1]); s != nil {
			e.Values[key.Value] = *s
			e.order = append(e.order, key.Value)
		}
	}
	return e
}

func (r *reader) chain(n *yaml.Node) *Chain {
	o := r.object(n, "chain", "when", "chain")
	o.need("chain")
	c := &Chain{When: r.formula(o.at("when")), Pos: o.pos(), at: o.spots()}
	if at := o.at("chain"); at != nil {
		c.Steps = r.steps(at)
	}
	return c
}

var (
	stepToken = regexp.MustCompile(`\[[^\]]*\]?|[^\s\[]+`)
	stepName  = regexp.MustCompile(`^[a-z0-9_.{}]+$`)
)

// steps reads "node [element] node [element] node".
func (r *reader) steps(n *yaml.Node) []string {
	text := r.text(n, `"chain"`)
	const how = "write  place [element] place [element] place"
	var out []string
	for _, m := range stepToken.FindAllStringIndex(text, -1) {
		from, to := len([]rune(text[:m[0]])), len([]rune(text[:m[1]]))
		token := text[m[0]:m[1]]
		element := strings.HasPrefix(token, "[")
		name := strings.TrimSpace(strings.Trim(token, "[]"))
		var problem string
		switch {
		case element && !strings.HasSuffix(token, "]"):
			problem = fmt.Sprintf("%q is not closed", token)
		case element && len(out)%2 == 0:
			problem = fmt.Sprintf("%s needs a place before it", token)
		case !element && len(out)%2 == 1:
			problem = fmt.Sprintf("between two places stands an [element], but here is %q", token)
		case !stepName.MatchString(name):
			problem = fmt.Sprintf("%q is not a name", token)
		}
		if problem != "" {
			r.addRange(r.spot(n), from, to, CodeSyntax, problem, how)
			return nil
		}
		out = append(out, name)
	}
	if len(out) < 3 || len(out)%2 == 0 {
		r.fail(n, CodeSyntax, how, "a chain starts and ends with a place and has an [element] between")
		return nil
	}
	return out
}

// allChains are the circuit's own and those of its surroundings.
func (c *Circuit) allChains() []*Chain {
	all := slices.Clone(c.Chains)
	for _, s := range c.Surroundings {
		all = append(all, s.Chains...)
	}
	return all
}

func (c *Circuit) surroundingIDs() []string {
	var ids []string
	for _, s := range c.Surroundings {
		ids = append(ids, s.ID)
	}
	return ids
}

func (c *Circuit) element(id string) *Element {
	i := slices.IndexFunc(c.Parts, func(e *Element) bool { return e.ID == id })
	if i < 0 {
		return nil
	}
	return c.Parts[i]
}
