package config

import (
	"errors"
	"fmt"
	"path/filepath"
	"strings"
)

// housekeeping decodes [schedule] and [backup].
func (b *builder) housekeeping(schedule, backup *section) {
	v := &b.file.Schedule
	// A safe hour: no change to or from summer time falls on it.
	*v = Schedule{Nightly: "15 4 * * *", Monthly: "30 5 1 * *"}
	b.cron(schedule, "nightly", &v.Nightly)
	b.cron(schedule, "monthly", &v.Monthly)
	schedule.close()
	b.file.Backup = Backup{Folder: filepath.Join(b.file.Server.Data, "backup"), Keep: 14}
	backup.path("folder", &b.file.Backup.Folder)
	backup.whole("keep", &b.file.Backup.Keep, 1, 10_000)
	backup.close()
}

// cron reads a cron line of five fields that fires some day.
func (b *builder) cron(s *section, key string, into *string) {
	var line string
	if !s.text(key, &line) {
		return
	}
	right := `write minute, hour, day, month and weekday, such as "15 4 * * *" for every night at 04:15`
	if key == "monthly" {
		right = `write minute, hour, day, month and weekday, such as "30 5 1 * *" for 05:30 on the first of each month`
	}
	switch {
	case strings.Contains(line, "TZ="):
		s.wrong(key, "the line has a time zone in it; it always runs in the time of the building", right)
	case len(strings.Fields(line)) != 5:
		s.wrong(key, fmt.Sprintf("the line has %d fields, but five are wanted", len(strings.Fields(line))), right)
	default:
		if err := b.checkCron(line); err != nil {
			wrong := strings.ToValidUTF8(err.Error(), "?")
			if parts, ok := errors.AsType[twoParts](err); ok {
				wrong, right = parts.Parts()
			}
			s.wrong(key, "the line cannot be used: "+wrong, right)
			return
		}
		*into = line
	}
}

// twoParts is an error of a checker that says apart what is wrong and what would be right.
type twoParts interface {
	error
	Parts() (wrong, right string)
}

// checkCron asks the checker; a panic of its parser is a refusal.
func (b *builder) checkCron(line string) (err error) {
	defer func() {
		if recover() != nil {
			err = fmt.Errorf("%q cannot be read", line)
		}
	}()
	if b.options.CheckSchedule == nil {
		return nil
	}
	return b.options.CheckSchedule(line)
}
