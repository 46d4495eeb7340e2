package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"drumturn/config"
	"drumturn/coordinator"
	"drumturn/coordinator/store"
	"drumturn/push"
	"drumturn/push/words"
)

// checkCommand checks a building file without starting anything.
type checkCommand struct {
	fileArgument
	Offline bool `help:"Do not try the network (name, certificate, push services)."`
}

// Run prints what was found, and changes nothing; an unusable file is an error of
// use, a store that cannot be read is one of its own.
func (c *checkCommand) Run(ctx context.Context, s streams) error {
	file, err := c.load(s.out)
	if err != nil {
		return err
	}
	fmt.Fprintf(s.out, "%s: %s, %s.\n", c.File, file.Building.Name, counted(file))
	unread := c.differences(ctx, s, file)
	setup := push.Setup{
		PublicURL: file.Server.PublicURL, TLS: file.Server.TLS.Mode, Subject: file.Server.PushSubject, Hosts: file.Server.PushHosts,
	}
	if len(setup.Hosts) == 0 {
		setup.Hosts = push.DefaultHosts()
	}
	var probes push.Probes
	if !c.Offline {
		ctx, cancel := context.WithTimeout(ctx, 15*time.Second)
		defer cancel()
		probes = push.NewProber().Probe(ctx, setup, time.Now())
	}
	fmt.Fprintln(s.out, "\nNotices to phones:")
	en := words.English()
	for _, f := range push.Advice(setup, probes) {
		fmt.Fprintf(s.out, "  %-4s %s: %s\n", f.Level, f.About(en), f.Text(en))
		if do := f.Do(en); do != "" {
			fmt.Fprintf(s.out, "       %s\n", do)
		}
	}
	c.letters(ctx, s, file)
	fmt.Fprintln(s.out, "\n"+safetyLines)
	return unread
}

// safetyLines are the cautions that belong beside every meter.
const safetyLines = `Safety:
  A meter or plug must be rated for the machine's highest sustained draw: a washer that heats
  takes 2.0 to 2.5 kW, many dryers more. No extension leads. A meter that is wired in is a licensed
  electrician's work under the local code. A dryer whose drying time creeps up may have a blocked
  lint screen or vent, which is a fire risk: clean it, stop using it, have it looked at. Nothing
  here makes it safe to leave a machine running unattended. Bills may need a meter approved for billing.`

// counted says how much there is in a building.
func counted(file *config.File) string {
	machines := 0
	for _, room := range plans(file) {
		machines += len(room.Machines)
	}
	return count(len(file.Rooms), "room") + ", " + count(machines, "machine") + ", " + count(len(file.Meters), "meter")
}

// count writes a number of things.
func count(n int, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return fmt.Sprintf("%d %ss", n, thing)
}

// differences says where the house rules in force are not those of the file,
// when there is a store that nobody is using; the error is that of a store or a
// room that cannot be read.
func (c *checkCommand) differences(ctx context.Context, s streams, file *config.File) (unread error) {
	path := filepath.Join(file.Server.Data, storeName)
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		fmt.Fprintln(s.out, "There is no store yet: the first start takes the house rules and the tariff from this file.")
		return nil
	}
	st, err := store.OpenToRead(path, store.Options{})
	if err != nil {
		fmt.Fprintf(s.out, "The house rules in force cannot be compared with the file: %v.\n", err)
		if errors.Is(err, store.ErrBusy) {
			return nil
		}
		return err
	}
	defer st.Close()
	for _, room := range plans(file) {
		stored, err := st.Load(ctx, room.ID)
		if err != nil {
			unread = errors.Join(unread, fmt.Errorf("room %s cannot be read: %w", room.ID, err))
			continue
		}
		r, err := coordinator.Restore(room, stored, engine)
		if err != nil {
			unread = errors.Join(unread, fmt.Errorf("room %s cannot be read: %w", room.ID, err))
			continue
		}
		for _, line := range config.Differences(room.Seed, r.Snapshot(time.Now()).Rules) {
			fmt.Fprintf(s.out, "Room %s, house rules in force differ from the file: %s\n", room.ID, line)
		}
	}
	return errors.Join(unread, c.priceDifferences(ctx, s, st, file))
}

// priceDifferences is the same of prices: those of the file against those that were set last.
func (c *checkCommand) priceDifferences(ctx context.Context, s streams, st *store.File, file *config.File) error {
	if file.Tariff.Currency == "" {
		return nil
	}
	stored, err := st.Load(ctx, coordinator.Building)
	var people *coordinator.People
	if err == nil {
		people, err = coordinator.RestorePeople(stored)
	}
	if err != nil {
		return fmt.Errorf("the tariff in force cannot be read: %w", err)
	}
	if len(people.Tariffs) == 0 {
		fmt.Fprintln(s.out, "No tariff is in force yet: the next start takes that of the file.")
		return nil
	}
	for _, line := range config.TariffDifferences(file.Tariff, people.Tariffs[len(people.Tariffs)-1].Tariff) {
		fmt.Fprintf(s.out, "Tariff set last differs from the file: %s\n", line)
	}
	return nil
}
