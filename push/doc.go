// Package push tells people: it takes the notices that the rooms stored in the
// outbox, decides for each person whether and how to tell them, words the
// message in their language, and hands it to the push services of their devices.
//
// The decisions (who, whether, what words, when to try again) are pure
// functions; Worker joins them to the outbox, a clock and a Sender. The one
// Sender of the program is in push/webpush. The package also checks what comes
// from outside: subscriptions, the key pair, the subject; and says in words
// whether push can work for a building (Advice).
package push
