// Package words is the catalogue of messages: what residents read, in every
// language that there is, for notices and pages alike. A language is a file
// LANG.toml beside this one; English is where a key is invented, and what a
// tag that nobody speaks here falls back to.
package words
