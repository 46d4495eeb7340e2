// Package demo invents a building: two laundry rooms with ordinary machines,
// homes, and residents who behave as people do. They queue, walk down when
// called or miss the call, collect late, never tap, or just walk up to a machine.
//
// A Town is the residents and the machines. The same Town first lives through
// four weeks in fast time (Past, which drives the real core and stores what it
// says), then goes on while the demonstration runs (Live, through the same doors
// as the pages). Everything in the past follows from a seed.
package demo
