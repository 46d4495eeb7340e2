package metrics

import (
	"slices"
	"strconv"
	"time"

	"github.com/prometheus/client_golang/prometheus"
)

// Requests measures how long answers took: by method, route and status. A route
// is a template, such as "/r/:room", so that there are as many series as routes,
// however many addresses are tried.
type Requests struct{ took *prometheus.HistogramVec }

// seconds are the bounds of what is counted together: a page is made in some
// milliseconds, a form waits for a commit, a passphrase for its hash.
var seconds = []float64{0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 10}

// methods are those that have a name of their own; anybody may invent others.
var methods = []string{"GET", "HEAD", "POST", "DELETE"}

// NewRequests makes it.
func NewRequests() *Requests {
	return &Requests{prometheus.NewHistogramVec(prometheus.HistogramOpts{
		Name: "drumturn_http_request_duration_seconds", Help: "How long answers took, event streams left out.", Buckets: seconds,
	}, []string{"method", "route", "code"})}
}

// Took counts an answer. An empty route is one that leads nowhere.
func (r *Requests) Took(method, route string, status int, d time.Duration) {
	if !slices.Contains(methods, method) {
		method = "other"
	}
	if route == "" {
		route = "none"
	}
	r.took.WithLabelValues(method, route, strconv.Itoa(status)).Observe(d.Seconds())
}
