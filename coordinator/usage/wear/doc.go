// Package wear tells from a machine's cycles that it goes wrong slowly: a dryer
// that takes longer, a heater that heats longer, a spin that takes more power.
// It is pure. Each cycle is measured once from its meter readings (Measure),
// cycles are put beside those of the same programme (Programmes), and control
// charts find a lasting shift among what differs from load to load (Watch).
package wear
