package transport

import (
	"context"

	"coilside/session"
)

// Service is temporary.
type Service interface {
	Open(context.Context, session.OpenRequest) (session.Opened, error)
	Tell(context.Context, session.TellRequest) (session.Reply, error)
	Record(context.Context, session.RecordRequest) (session.Reply, error)
	Retract(context.Context, session.RetractRequest) (session.Reply, error)
	Skip(context.Context, session.SkipRequest) (session.Reply, error)
	Next(context.Context, session.ListRequest) (session.Tests, error)
	Suspects(context.Context, session.ListRequest) (session.Suspects, error)
	Explain(context.Context, session.ExplainRequest) (session.Explanation, error)
	Repair(context.Context, session.RepairRequest) (session.Reply, error)
	Close(context.Context, session.CloseRequest) (session.Reply, error)
	List(context.Context, session.JobsRequest) (session.JobList, error)
	Show(context.Context, session.JobRequest) (session.JobView, error)
	Report(context.Context, session.ReportRequest) (session.Report, error)
	RulesList(context.Context, struct{}) (session.RulesList, error)
	RulesShow(context.Context, session.RulesRequest) (session.RulesView, error)
	RulesCheck(context.Context, struct{}) (session.RulesChecked, error)
	RulesReload(context.Context, struct{}) (session.RulesList, error)
	Subscribe(ctx context.Context, job string, from int) (<-chan session.Change, func(), error)
}
