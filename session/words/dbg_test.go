package words

import (
	"fmt"
	"os"
	"strings"
	"testing"
)

func TestDbg(t *testing.T) {
	if os.Getenv("SAY") == "" {
		return
	}
	r := shipped(t)
	ctx := corpusContexts()[os.Getenv("CTX")]
	for _, s := range strings.Split(os.Getenv("SAY"), "|") {
		c := &call{r: r, ctx: &ctx, text: s}
		for _, it := range c.items(strings.Join(strings.Fields(clean(s)), " ")) {
			fmt.Printf("[%d %q c=%s v=%v u=%v %v] ", it.kind, it.raw, it.concept, it.num.v, it.num.unit, it.place.spots)
		}
		fmt.Println()
		res := r.Read(s, ctx)
		fmt.Println("=>", summary(res))
		for _, f := range res.Findings {
			fmt.Println("   F:", f.Words, "| assumed", f.Assumed, "| hedge", f.Hedge, f.Notes, f.Warning)
		}
		for _, q := range res.Questions {
			fmt.Println("   Q:", q.Text, " heard:", q.Heard)
			for _, ch := range q.Choices {
				fmt.Println("      -", ch.Words)
			}
		}
		for _, u := range res.Unread {
			fmt.Printf("   U: %q %s / nearest: %s\n", u.Text, u.Why, u.Nearest)
		}
		for _, x := range res.Commands {
			fmt.Printf("   C: %+v\n", x)
		}
	}
}
