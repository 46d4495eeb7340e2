package usage

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"slices"
	"sync"
)

// mostKeptRows bounds what Reports keeps: about 1.5 KiB a row.
const mostKeptRows = 6000

// Reports makes reports and keeps the latest ones, until sums may have changed.
// It may be used from any goroutine.
type Reports struct {
	r Rollups
	// edition counts the changes of sums.
	edition func() uint64

	mu   sync.Mutex
	kept []keptReport // the latest asked for comes last
}

type keptReport struct {
	key     [sha256.Size]byte
	edition uint64
	report  *Report
	rows    int
}

// NewReports makes reports from stored sums. edition tells another number when
// sums have changed; see Keeper.Edition.
func NewReports(r Rollups, edition func() uint64) *Reports {
	return &Reports{r: r, edition: edition}
}

// Report is MakeReport. What it answers with is shared: leave it as it is.
func (s *Reports) Report(ctx context.Context, h *House, q Query) (*Report, error) {
	text, err := json.Marshal(struct {
		Query Query
		House *House
	}{q, h})
	if err != nil {
		return nil, fmt.Errorf("the house of a report does not encode: %w", err)
	}
	key, edition := sha256.Sum256(text), s.edition()
	if r := s.find(key, edition); r != nil {
		return r, nil
	}
	r, err := MakeReport(ctx, s.r, h, q)
	if err == nil {
		s.keep(keptReport{key, edition, r, len(r.Periods) + len(r.Rooms) + len(r.Machines) + len(r.Homes) + len(r.Windows)})
	}
	return r, err
}

func (s *Reports) find(key [sha256.Size]byte, edition uint64) *Report {
	s.mu.Lock()
	defer s.mu.Unlock()
	i := slices.IndexFunc(s.kept, func(k keptReport) bool { return k.key == key && k.edition == edition })
	if i < 0 {
		return nil
	}
	found := s.kept[i]
	s.kept = append(slices.Delete(s.kept, i, i+1), found)
	return found.report
}

// keep adds a report and lets the oldest go, and all of another edition.
func (s *Reports) keep(fresh keptReport) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.kept = slices.DeleteFunc(s.kept, func(k keptReport) bool { return k.edition != fresh.edition || k.key == fresh.key })
	s.kept = append(s.kept, fresh)
	rows := 0
	for i := len(s.kept) - 1; i >= 0; i-- {
		if rows += s.kept[i].rows; rows > mostKeptRows {
			s.kept = slices.Delete(s.kept, 0, i+1)
			return
		}
	}
}
