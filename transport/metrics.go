package transport

import (
	"context"
	"net/http"
	"strconv"

	"coilside/transport/jsonrpc"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
)

// metrics are the service's figures. No label holds what a client sent: methods
// and paths that are not there are counted together.
type metrics struct {
	registry *prometheus.Registry
	requests *prometheus.CounterVec   // HTTP, by path and status
	calls    *prometheus.CounterVec   // by method and code
	took     *prometheus.HistogramVec // by method
	refused  *prometheus.CounterVec   // before a method was called, by why
	sockets  prometheus.Gauge
	watches  prometheus.Gauge
	underWay prometheus.Gauge
}

const nobody = "other" // a method or path that is not there

func newMetrics() *metrics {
	name := func(s string) string { return "coilside_" + s }
	m := &metrics{
		registry: prometheus.NewRegistry(),
		requests: prometheus.NewCounterVec(prometheus.CounterOpts{Name: name("http_requests_total"), Help: "HTTP requests, by path and status."}, []string{"path", "status"}),
		calls:    prometheus.NewCounterVec(prometheus.CounterOpts{Name: name("calls_total"), Help: "JSON-RPC calls, by method and error code; 0 is none."}, []string{"method", "code"}),
		took: prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: name("call_seconds"), Help: "Time that JSON-RPC calls took.",
			Buckets: []float64{.001, .0025, .005, .01, .025, .05, .1, .25, .5, 1, 2.5, 5, 10}}, []string{"method"}),
		refused:  prometheus.NewCounterVec(prometheus.CounterOpts{Name: name("refused_total"), Help: "What was refused before a method was called, by why."}, []string{"why"}),
		sockets:  prometheus.NewGauge(prometheus.GaugeOpts{Name: name("websockets"), Help: "Open WebSocket connections."}),
		watches:  prometheus.NewGauge(prometheus.GaugeOpts{Name: name("watches"), Help: "Jobs watched, counted once a connection."}),
		underWay: prometheus.NewGauge(prometheus.GaugeOpts{Name: name("messages_under_way"), Help: "Messages being served."}),
	}
	m.registry.MustRegister(m.requests, m.calls, m.took, m.refused, m.sockets, m.watches, m.underWay,
		collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return m
}

// observe counts a JSON-RPC request and writes its line in the log.
func (s *Server) observe(ctx context.Context, c jsonrpc.Call) {
	method := c.Method
	if !s.table.Has(method) {
		method = nobody
	}
	s.metrics.calls.WithLabelValues(method, strconv.Itoa(c.Code)).Inc()
	if method != nobody {
		s.metrics.took.WithLabelValues(method).Observe(c.Took.Seconds())
	}
	logCall(ctx, c)
}

// metricsHandler serves the figures for Prometheus to fetch.
func (s *Server) metricsHandler() http.Handler {
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", promhttp.HandlerFor(s.metrics.registry, promhttp.HandlerOpts{MaxRequestsInFlight: 4}))
	return mux
}
