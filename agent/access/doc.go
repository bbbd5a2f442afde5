// Package access lets people and programs in over HTTP: who may read, who may
// command, and how often.
//
// A person logs in with name and secret (HTTP Basic, RFC 7617), a program with
// a token (Bearer, RFC 6750). Both are in one file that holds only hashes; see
// Parse. Commands always need one of them. Reading needs one too, unless the
// Policy says otherwise.
//
// Secrets are compared in constant time, a name that does not exist costs as
// much as a wrong secret, and whoever fails is slowed down.
package access
