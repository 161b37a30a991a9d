package session

import (
	"encoding/json"
	"maps"
	"slices"

	"coilside/session/words"
)

// conversation is how far the talk about a job has come beside its log: no truth, so not
// in the log. Where several instances serve a job it is kept with the job's head, so that
// each takes it up where another left it.
type conversation struct {
	asked       []words.Question // asked back, first one pending
	warned      map[string]bool  // cautions and advice said already
	cautionedAt int              // number at which the caution of a moving load was last said in full
}

type conversationAsJSON struct {
	Asked       []words.Question `json:"asked,omitempty"`
	Warned      []string         `json:"warned,omitempty"`
	CautionedAt int              `json:"cautioned_at,omitempty"`
}

// after is the conversation once a turn is over.
func (c conversation) after(done *turn) conversation {
	c.asked = done.asked
	if len(done.warned) > 0 {
		c.warned = maps.Clone(c.warned)
	}
	for _, w := range done.warned {
		c.warned[w] = true
	}
	return c
}

// MarshalJSON leaves out a question about a number that JSON cannot hold: it is asked anew.
func (c conversation) MarshalJSON() ([]byte, error) {
	out := conversationAsJSON{Asked: c.asked, Warned: slices.Sorted(maps.Keys(c.warned)), CautionedAt: c.cautionedAt}
	if data, err := json.Marshal(out); err == nil {
		return data, nil
	}
	out.Asked = nil
	return json.Marshal(out)
}

// UnmarshalJSON reads it back.
func (c *conversation) UnmarshalJSON(data []byte) error {
	var in conversationAsJSON
	if err := json.Unmarshal(data, &in); err != nil {
		return err
	}
	*c = conversation{asked: in.Asked, warned: map[string]bool{}, cautionedAt: in.CautionedAt}
	for _, w := range in.Warned {
		c.warned[w] = true
	}
	return nil
}
