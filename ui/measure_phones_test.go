package ui

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"drumturn/coordinator"
)

// phones is how many pages are open in the benchmark.
const phones = 5000

// BenchmarkFiveThousandPhones opens that many streams of one room from another
// process, and measures what a stream costs the server in memory (heap and
// stacks), and the time from the publishing of a change until the median, the
// 99th percentile and the last phone has it. Run it with -benchtime 20x.
func BenchmarkFiveThousandPhones(b *testing.B) {
	h := newFakeHouse(fullRoom())
	o := testOptions(h)
	o.StreamsPerIP, o.Streams = 2*phones, 2*phones
	s, err := New(o)
	if err != nil {
		b.Fatal(err)
	}
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() { served <- s.Serve(ctx, ln) }()
	before := inUse()
	child := exec.Command(os.Args[0], "-test.run=^TestPhonesProcess$")
	child.Env = append(os.Environ(), "DRUMTURN_PHONES="+ln.Addr().String())
	in, err := child.StdinPipe()
	if err != nil {
		b.Fatal(err)
	}
	pipe, err := child.StdoutPipe()
	if err != nil {
		b.Fatal(err)
	}
	if err := child.Start(); err != nil {
		b.Fatal(err)
	}
	out := bufio.NewScanner(pipe)
	out.Buffer(nil, 1<<20)
	if !out.Scan() || out.Text() != "ready" {
		b.Fatalf("the phones say %q", out.Text())
	}
	each := float64(inUse()-before) / phones / 1024
	var median, p99, last []time.Duration
	change := 0
	for b.Loop() {
		change++
		time.Sleep(1100 * time.Millisecond) // the room has been quiet for more than a second
		began := time.Now()
		h.change("cellar", func(s *coordinator.Snapshot) { s.Machines[7].OutText = fmt.Sprintf("change %d.", change) })
		if !out.Scan() {
			b.Fatal("the phones are gone")
		}
		at := arrivals(b, out.Text(), began)
		median, p99, last = append(median, at[len(at)/2]), append(p99, at[len(at)*99/100]), append(last, at[len(at)-1])
	}
	b.ReportMetric(each, "KiB/phone")
	for name, d := range map[string][]time.Duration{"ms-median": median, "ms-p99": p99, "ms-last": last} {
		slices.Sort(d)
		b.ReportMetric(float64(d[len(d)/2].Microseconds())/1000, name)
	}
	in.Close()
	_ = child.Wait()
	cancel()
	if err := <-served; err != nil {
		b.Log(err) // five thousand streams end at once
	}
}

// inUse is the memory of heap and stacks after collection, bytes.
func inUse() int64 {
	runtime.GC()
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return int64(m.HeapInuse + m.StackInuse)
}

// arrivals reads when each phone had the change, in the order of arrival.
func arrivals(b *testing.B, line string, began time.Time) []time.Duration {
	var out []time.Duration
	for field := range strings.FieldsSeq(line) {
		ns, err := strconv.ParseInt(field, 10, 64)
		if err != nil {
			b.Fatal(err)
		}
		out = append(out, time.Unix(0, ns).Sub(began))
	}
	slices.Sort(out)
	if len(out) != phones {
		b.Fatalf("%d phones had the change", len(out))
	}
	return out
}

// TestPhonesProcess is the other process of the benchmark, no test.
func TestPhonesProcess(t *testing.T) {
	address := os.Getenv("DRUMTURN_PHONES")
	if address == "" {
		t.Skip("this is the phones' process of a benchmark")
	}
	var ready sync.WaitGroup
	had := make(chan int64, phones)
	for range phones {
		c, err := net.Dial("tcp", address)
		if err != nil {
			t.Fatal(err)
		}
		ready.Add(1)
		go phone(c, &ready, had)
	}
	ready.Wait()
	fmt.Println("ready")
	ended := make(chan struct{})
	go func() { _, _ = io.Copy(io.Discard, os.Stdin); close(ended) }()
	for {
		var line strings.Builder
		for range phones {
			select {
			case at := <-had:
				fmt.Fprintf(&line, "%d ", at)
			case <-ended:
				return
			}
		}
		fmt.Println(line.String())
	}
}

// phone opens a stream and notes the instant at which each board has come whole.
func phone(c net.Conn, ready *sync.WaitGroup, had chan<- int64) {
	fmt.Fprintf(c, "%s /r/cellar/events HTTP/1.1\r\nHost: localhost:8080\r\n\r\n", http.MethodGet)
	r := bufio.NewReaderSize(c, 1024)
	first, board := true, false
	for {
		line, err := r.ReadSlice('\n')
		if err != nil && err != bufio.ErrBufferFull {
			return
		}
		switch {
		case strings.HasPrefix(string(line), "event: board"):
			board = true
		case len(line) == 1 && board:
			board = false
			if first {
				first = false
				ready.Done()
				continue
			}
			had <- time.Now().UnixNano()
		}
	}
}
