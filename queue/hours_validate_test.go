package queue_test

import (
	"testing"
	"time"

	"drumturn/queue"
)

func day(opens, lastStart, endedBy queue.Clock) queue.Day {
	return queue.Day{Opens: opens, LastStart: lastStart, EndedBy: endedBy}
}

func TestHoursValidate(t *testing.T) {
	const none = queue.NoClock
	for name, c := range map[string]struct {
		day  queue.Day
		want []string
	}{
		"no limits":                  {day(none, none, none), nil},
		"usual":                      {day(7*60, 20*60, 22*60), nil},
		"only ended by":              {day(none, none, 22*60), nil},
		"ended by without start":     {day(7*60, none, 22*60), nil},
		"ended before last start":    {day(7*60, 21*60, 20*60), []string{"ended_by"}},
		"ended at the last start":    {day(7*60, 21*60, 21*60), []string{"ended_by"}},
		"last start before opening":  {day(9*60, 8*60, 22*60), []string{"last_start"}},
		"ended before opening":       {day(9*60, none, 8*60), []string{"ended_by"}},
		"all the wrong way round":    {day(20*60, 18*60, 10*60), []string{"last_start", "ended_by"}},
		"minute 1440":                {day(24*60, none, none), []string{"opens"}},
		"below none":                 {day(none, -2, none), []string{"last_start"}},
		"closed days are not looked": {queue.Day{Closed: true, Opens: 9 * 60, LastStart: 8 * 60, EndedBy: 5}, nil},
	} {
		t.Run(name, func(t *testing.T) {
			h := queue.AlwaysOpen()
			h[time.Wednesday] = c.day
			got := h.Validate()
			if len(got) != len(c.want) {
				t.Fatalf("problems %v, want of %v", got, c.want)
			}
			for i, p := range got {
				if p.Field != c.want[i] || p.Day != time.Wednesday || p.Wrong == "" || p.Right == "" {
					t.Errorf("problem %d: %+v, want of %s on Wednesday with both texts", i, p, c.want[i])
				}
			}
		})
	}
}

func TestClockString(t *testing.T) {
	for c, want := range map[queue.Clock]string{0: "00:00", 7*60 + 5: "07:05", 23*60 + 59: "23:59", queue.NoClock: ""} {
		if got := c.String(); got != want {
			t.Errorf("Clock(%d).String() = %q, want %q", int(c), got, want)
		}
	}
}
