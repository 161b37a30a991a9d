package jsonrpc

import (
	"context"
	"errors"
	"fmt"
	"reflect"
	"runtime/debug"
	"time"

	"coilside/rules"

	"github.com/go-json-experiment/json/jsontext"
)

// handler answers one call. Params are the raw array or object, nil if left out.
type handler func(ctx context.Context, params jsontext.Value) (any, error)

// Method is one entry of a Table.
type Method struct {
	Name   string
	Words  string       // what it does, one sentence
	Params reflect.Type // struct that the parameters are decoded into
	Result reflect.Type
	handle handler
}

// Call is what became of one request, for the log.
type Call struct {
	Method       string
	Params       jsontext.Value // as they came; nil if there are none, or no request could be read
	Notification bool
	Code         int // of the error, 0 if none
	Took         time.Duration
}

// Table is the methods of a service. Fill it before the first Serve; after
// that it is safe for concurrent use.
type Table struct {
	Limits Limits
	// Translate turns an error of a handler into one for the wire. It is not
	// asked about errors that are an *Error already; nil answers them all as
	// internal errors.
	Translate func(context.Context, error) *Error
	// Admit is asked before each request, also each of a batch; what it returns
	// refuses the request. nil = all are taken.
	Admit func(context.Context) *Error
	// Observe is told of every request served; nil = nobody.
	Observe func(context.Context, Call)

	methods map[string]*Method
	names   []string
}

// ErrAnswerTooLong is handed to Translate when the results of a message would
// exceed Limits.Answer.
var ErrAnswerTooLong = errors.New("the answer would be too long")

// Panic is the error that a handler's panic becomes.
type Panic struct {
	Value any
	Stack []byte
}

func (p *Panic) Error() string { return fmt.Sprintf("panic: %v\n%s", p.Value, p.Stack) }

// Methods lists the methods in the order they were added.
func (t *Table) Methods() []*Method {
	out := make([]*Method, len(t.names))
	for i, name := range t.names {
		out[i] = t.methods[name]
	}
	return out
}

// Has reports whether there is a method of that name.
func (t *Table) Has(method string) bool { return t.methods[method] != nil }

// HandleRaw adds a method that reads its parameters itself. It panics if the
// name is taken: that is a slip in the program.
func HandleRaw(t *Table, name, words string, h handler) {
	t.add(&Method{Name: name, Words: words, handle: h})
}

// Handle adds a method whose parameters are a struct, passed by name.
func Handle[Req, Res any](t *Table, name, words string, f func(context.Context, Req) (Res, error)) {
	t.add(&Method{
		Name: name, Words: words, Params: reflect.TypeFor[Req](), Result: reflect.TypeFor[Res](),
		handle: func(ctx context.Context, params jsontext.Value) (any, error) {
			req, refusal := decode[Req](params)
			if refusal != nil {
				return nil, refusal
			}
			return f(ctx, req)
		},
	})
}

func (t *Table) add(m *Method) {
	if t.methods == nil {
		t.methods = map[string]*Method{}
	}
	if t.methods[m.Name] != nil {
		panic("jsonrpc: method " + m.Name + " is there already")
	}
	t.methods[m.Name] = m
	t.names = append(t.names, m.Name)
}

// Serve answers one message, single or batch. The requests of a batch are done
// one after the other, in order. It returns nil if there is nothing to answer:
// notifications never are, whatever became of them.
func (t *Table) Serve(ctx context.Context, msg []byte) []byte {
	parts, batch, refusal := split(msg, t.Limits)
	if refusal != nil {
		t.observe(ctx, Call{Code: refusal.Code})
		return Refusal(refusal)
	}
	budget := t.Limits.Answer
	var out []byte
	for _, part := range parts {
		answer := t.one(ctx, part, &budget)
		if answer == nil {
			continue
		}
		if !batch {
			return answer
		}
		if out == nil {
			out = append(out, '[')
		} else {
			out = append(out, ',')
		}
		out = append(out, answer...)
	}
	if out != nil {
		out = append(out, ']')
	}
	return out
}

// one serves one request; budget is what is left of the answer's bytes.
func (t *Table) one(ctx context.Context, part jsontext.Value, budget *int) []byte {
	start := time.Now()
	req, refusal := parse(part)
	if refusal != nil {
		t.observe(ctx, Call{Method: req.Method, Code: refusal.Code, Took: time.Since(start)})
		return encode(response{Version: "2.0", Error: refusal, ID: req.ID})
	}
	answer := response{Version: "2.0", ID: req.ID}
	answer.Result, answer.Error = t.call(ctx, req)
	if len(answer.Result) > *budget {
		answer.Result, answer.Error = nil, t.translate(ctx, ErrAnswerTooLong)
	}
	*budget -= len(answer.Result)
	call := Call{Method: req.Method, Params: req.Params, Notification: req.ID == nil, Took: time.Since(start)}
	if answer.Error != nil {
		call.Code = answer.Error.Code
	}
	t.observe(ctx, call)
	if call.Notification {
		return nil
	}
	return encode(answer)
}

func (t *Table) observe(ctx context.Context, c Call) {
	if t.Observe != nil {
		t.Observe(ctx, c)
	}
}

// call runs the method and writes its result.
func (t *Table) call(ctx context.Context, req Request) (jsontext.Value, *Error) {
	if t.Admit != nil {
		if refusal := t.Admit(ctx); refusal != nil {
			return nil, refusal
		}
	}
	m := t.methods[req.Method]
	if m == nil {
		near := rules.Nearest(req.Method, t.names)
		return nil, &Error{MethodNotFound, fmt.Sprintf("There is no method %q%s", req.Method, suggestion(near)), Detail{Kind: "method", Nearest: near}}
	}
	result, err := guarded(ctx, m.handle, req.Params)
	if err == nil {
		var raw []byte
		if raw, err = marshal(result); err == nil {
			return raw, nil
		}
	}
	return nil, t.translate(ctx, err)
}

func (t *Table) translate(ctx context.Context, err error) *Error {
	if e, ok := errors.AsType[*Error](err); ok {
		return e
	}
	if t.Translate != nil {
		return t.Translate(ctx, err)
	}
	return &Error{Code: InternalError, Message: "Something went wrong inside the service."}
}

func guarded(ctx context.Context, h handler, params jsontext.Value) (result any, err error) {
	defer func() {
		if v := recover(); v != nil {
			err = &Panic{v, debug.Stack()}
		}
	}()
	return h(ctx, params)
}
