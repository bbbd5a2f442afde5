// Package upkeep follows what is done at a gland and what comes of it: the
// adjustments and their effect, how long each holds, whether the packing wears
// out, and when the next adjustment and the next packing are due.
//
// A Life is one gland's. It takes what people recorded (Entry) and the weep
// hour by hour (Bucket), both in steady time, and says what follows (State).
// It is pure: the same entries and buckets give the same State, live, after a
// restart and in a replay.
package upkeep
