package page_test

import (
	"context"
	"encoding/json"
	"slices"
	"testing"

	"github.com/chromedp/cdproto/accessibility"
	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// heard is a node of the page as Chromium gives it to a screen reader.
type heard struct {
	role, name string
	state      map[string]string // property to its value, as JSON
}

// tree is what a screen reader can come to.
func (w *window) tree(t *testing.T) []heard {
	t.Helper()
	ctx, cancel := w.within()
	defer cancel()
	var out []heard
	require.NoError(t, chromedp.Do(ctx, chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
		got, err := cdp.Call(ctx, target, accessibility.GetFullAXTree, accessibility.GetFullAXTreeParams{})
		for _, n := range got.Nodes {
			if n.Ignored {
				continue
			}
			h := heard{role: plainText(n.Role), name: plainText(n.Name), state: map[string]string{}}
			for _, p := range n.Properties {
				h.state[string(p.Name)] = string(p.Value.Value)
			}
			out = append(out, h)
		}
		return err
	})))
	return out
}

func plainText(v *accessibility.Value) string {
	text := ""
	if v != nil {
		_ = json.Unmarshal([]byte(v.Value), &text) // what is no text has no name
	}
	return text
}

func heardAs(all []heard, role, name string) *heard {
	if i := slices.IndexFunc(all, func(h heard) bool { return h.role == role && (name == "" || h.name == name) }); i >= 0 {
		return &all[i]
	}
	return nil
}

// controls are the roles of what is used: each must say what it is.
var controls = []string{"button", "link", "textbox", "radio", "checkbox", "combobox", "DisclosureTriangle", "group", "region", "navigation", "log"}

// atTheFan opens the job of a fan on the page, on a screen of some size.
func atTheFan(t *testing.T, on size) *player {
	t.Helper()
	b, shop := startBrowser(t), openShop(t)
	opened := shop.open(t, fan(false))
	p := newPlayer(t, b.open(t, shop.url, on), shop, opened.Job, "load_ground.open")
	p.states = nil
	p.run(t, goTo("#/job/"+opened.Job))
	return p
}

// What a screen reader is given: names for all that can be used, the parts of the page as
// regions, the conversation as a log that speaks up, and, after each answer, the focus on
// what is asked next.
func TestWhatAScreenReaderIsGiven(t *testing.T) {
	p := atTheFan(t, phone)
	p.shows(t)
	for step := range 4 {
		all := p.tree(t)
		for _, n := range all {
			if slices.Contains(controls, n.role) {
				assert.NotEmpty(t, n.name, "step %d: a %s without a name", step, n.role)
			}
		}
		log := heardAs(all, "log", "Conversation")
		require.NotNil(t, log, "the conversation is a log")
		assert.Equal(t, `"polite"`, log.state["live"])
		assert.NotNil(t, heardAs(all, "main", ""), "the work is the main part")
		assert.NotNil(t, heardAs(all, "navigation", "Parts of the job"))
		next := p.shop.view(t, p.job).Reply.Next
		require.NotNil(t, next)
		title := next.Say
		if next.Accept != "" {
			title = "Is everything clear?"
			assert.NotNil(t, heardAs(all, "alert", ""), "a caution speaks up")
		}
		heading := heardAs(all, "heading", title)
		require.NotNil(t, heading, "the step is a heading: %s", title)
		if step > 0 {
			assert.Equal(t, "true", heading.state["focused"], "step %d: the focus is on what is asked next", step)
		}
		p.step(t)
		p.shows(t)
	}
}

// A number that cannot be taken is said to be wrong at once, and the field says so too.
func TestAScreenReaderHearsAWrongNumber(t *testing.T) {
	p := atTheFan(t, desk)
	for range 20 {
		if r := p.shows(t).Reply; r.Next != nil && r.Next.Accept == "" && r.Next.Answers.Kind == "number" {
			break
		}
		require.True(t, p.step(t), "no test asked for a number")
	}
	p.press(t, ".meter input")
	p.keys(t, "twelve")
	p.press(t, ".card .enter")
	p.until(t, `document.querySelector(".card .error")?.textContent`)
	all := p.tree(t)
	alert := slices.IndexFunc(all, func(h heard) bool { return h.role == "alert" && h.state["live"] == `"assertive"` })
	assert.GreaterOrEqual(t, alert, 0, "an alert speaks up")
	field := slices.IndexFunc(all, func(h heard) bool { return h.role == "textbox" && h.state["invalid"] == `"true"` })
	require.GreaterOrEqual(t, field, 0, "the field says that it is wrong")
	assert.Equal(t, "true", all[field].state["focused"])
}
