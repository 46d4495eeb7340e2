package main

import (
	"os"

	"drumturn/coordinator"
	"drumturn/queue"
	"drumturn/ui/metrics"
)

// measured is what other programs are told of how this one does.
func (a *app) measured() metrics.Now {
	now := metrics.Now{Webhooks: len(a.house.People().Webhooks)}
	for _, id := range a.house.Rooms() {
		now.Rooms = append(now.Rooms, measuredRoom(a.house.Snapshot(id)))
	}
	for _, m := range a.meters.Health().Meters {
		one := metrics.Meter{Meter: m.Meter, Silent: m.Silent, Taken: m.Taken, Failures: m.Failures}
		for _, n := range m.Refused {
			one.Refused += n
		}
		now.Meters = append(now.Meters, one)
	}
	for _, st := range a.house.People().HookStates {
		if st.Fails > 0 || st.Ended {
			now.WebhooksFailing++
		}
	}
	if a.worker != nil {
		h := a.worker.Health()
		now.Notices = &metrics.Notices{Sent: h.Sent, Retried: h.Retried, Gone: h.Gone, Failed: h.Failed, Alarms: len(h.Alarms), Silent: len(h.Silent), Trouble: h.Trouble != ""}
	}
	if info, err := os.Stat(a.dataFile(storeName)); err == nil {
		now.StoreBytes = info.Size()
	}
	return now
}

func measuredRoom(snap *coordinator.Snapshot) metrics.Room {
	room := metrics.Room{Room: string(snap.Room)}
	for i := range snap.Turns {
		if snap.Turns[i].State == queue.Waiting {
			room.Waiting++
		}
	}
	for i := range snap.Machines {
		m := &snap.Machines[i]
		room.Machines = append(room.Machines, metrics.Machine{
			Room: room.Room, Machine: string(m.ID), Status: m.Status.String(), Watts: m.Watts, Heard: m.Heard, EnergyWh: m.EnergyWh,
		})
	}
	return room
}
