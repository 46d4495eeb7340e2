package ui

import (
	"encoding/json"
	"net/http"
	"time"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
	"drumturn/push/words"
	"drumturn/queue"
)

// personData is everything that is kept about a resident, as they may take it along.
type personData struct {
	Taken    time.Time     `json:"taken"`
	Building string        `json:"building"`
	Name     string        `json:"name,omitempty"`
	Home     string        `json:"home"`
	Language string        `json:"language,omitempty"`
	Mail     *mailData     `json:"e_mail,omitempty"`
	Joined   time.Time     `json:"joined"`
	Browsers []browserData `json:"browsers"`
	Devices  []deviceData  `json:"devices"`
	Turns    []turnData    `json:"turns"`
	Loads    []loadData    `json:"loads"`
	Shared   []loadData    `json:"shared_loads"`
	Table    []tableData   `json:"on_the_table"`
	History  []historyData `json:"history"`
}

type mailData struct {
	Address   string    `json:"address,omitempty"`
	Since     time.Time `json:"confirmed,omitzero"`
	Also      bool      `json:"besides_phones"`
	Asked     string    `json:"to_be_confirmed,omitempty"`
	AskedTill time.Time `json:"to_be_confirmed_until,omitzero"`
}

type browserData struct {
	Since   time.Time `json:"since"`
	Expires time.Time `json:"expires"`
	This    bool      `json:"this_one"`
}

type deviceData struct {
	Service string    `json:"push_service"`
	Address string    `json:"address"`
	Since   time.Time `json:"since"`
}

type turnData struct {
	Room   string    `json:"room"`
	Need   string    `json:"for"`
	State  string    `json:"state"`
	Joined time.Time `json:"joined"`
}

type loadData struct {
	Room    string    `json:"room"`
	Machine string    `json:"machine"`
	Started time.Time `json:"started"`
	Ready   time.Time `json:"ready,omitzero"`
}

// tableData is a load that somebody put on the table.
type tableData struct {
	Room    string    `json:"room"`
	Machine string    `json:"out_of"`
	Since   time.Time `json:"since"`
}

type historyData struct {
	At      time.Time `json:"at"`
	Room    string    `json:"room"`
	What    string    `json:"what"`
	Machine string    `json:"machine,omitempty"`
	Note    string    `json:"note,omitempty"`
	Wh      float64   `json:"energy_wh,omitempty"`
}

// RoomFact is a fact with the room that it is of.
type RoomFact struct {
	Room coordinator.RoomID
	Fact coordinator.Fact
}

// myData gives the visitor what is kept about them, as a JSON file.
func (s *Server) myData(c echo.Context) error {
	who := s.visitor(c)
	if who == nil {
		return signedOut
	}
	if !s.limits.data.allow(string(who.ID), time.Now()) {
		return tooMany
	}
	d := s.gather(who, sessionHash(c, s.cookies.resident))
	if s.o.History != nil {
		facts, err := s.o.History(c.Request().Context(), who.ID)
		if err != nil {
			return err
		}
		for _, f := range facts {
			d.History = append(d.History, historyData{f.Fact.At, string(f.Room), string(f.Fact.Kind), string(f.Fact.Machine), f.Fact.Note, f.Fact.EnergyWh})
		}
	}
	text, err := json.MarshalIndent(d, "", "  ")
	if err != nil {
		return err
	}
	h := c.Response().Header()
	h.Set("Cache-Control", "no-store")
	h.Set("Content-Disposition", `attachment; filename="laundry-my-data.json"`)
	return c.Blob(http.StatusOK, "application/json", append(text, '\n'))
}

// gather collects what the pictures in memory hold of a person.
func (s *Server) gather(who *coordinator.Person, session string) personData {
	people := s.o.House.People()
	d := personData{
		Taken: s.o.House.Now(), Building: s.o.Building, Name: who.Name, Home: people.Homes[who.Home].Name, Language: who.Lang, Joined: who.Joined,
		Browsers: []browserData{}, Devices: []deviceData{}, Turns: []turnData{}, Loads: []loadData{}, Shared: []loadData{}, Table: []tableData{}, History: []historyData{},
	}
	if m := who.Mail; m != (coordinator.Mail{}) {
		d.Mail = &mailData{m.Address, m.Since, m.Also, m.Asked.Address, m.Asked.Expires}
	}
	for _, b := range people.Sessions {
		if b.Person == who.ID {
			d.Browsers = append(d.Browsers, browserData{b.Made, b.Expires, b.Hash == session})
		}
	}
	for _, dev := range people.Devices(who.ID) {
		d.Devices = append(d.Devices, deviceData{dev.Host(), dev.Endpoint, dev.Made})
	}
	for _, id := range s.o.House.Rooms() {
		if snap := s.o.House.Snapshot(id); snap != nil {
			d.room(snap, who)
		}
	}
	return d
}

// room adds the person's turns and loads in a room, those of neighbours that they
// share, and what of theirs lies on the table.
func (d *personData) room(snap *coordinator.Snapshot, who *coordinator.Person) {
	states := map[queue.State]string{queue.Waiting: "waiting", queue.Called: "called", queue.Started: "started"}
	for i := range snap.Turns {
		if t := &snap.Turns[i]; t.Person == who.ID {
			d.Turns = append(d.Turns, turnData{snap.Name, t.Need.String(), states[t.State], t.Joined})
		}
	}
	for i := range snap.Machines {
		m := &snap.Machines[i]
		if m.Load == nil {
			continue
		}
		load := loadData{snap.Name, machineName(words.English(), m), m.Load.StartedAt, m.Load.ReadyAt}
		switch {
		case m.Load.Owner == who.ID:
			d.Loads = append(d.Loads, load)
		case m.Load.SharedWith(who.ID, ""):
			d.Shared = append(d.Shared, load)
		}
	}
	for i := range snap.Table {
		l := &snap.Table[i]
		if l.Owner != who.ID {
			continue
		}
		machine := string(l.Machine) // of one that stands there no more
		if m := snap.Machine(l.Machine); m != nil {
			machine = machineName(words.English(), m)
		}
		d.Table = append(d.Table, tableData{snap.Name, machine, l.At})
	}
}
