package main

import (
	"crypto/tls"
	"errors"
	"io/fs"
	"log/slog"

	"weepd/agent/access"
	"weepd/agent/config"
)

// accessOf gives who may do what over HTTP, and how it is encrypted.
func accessOf(h config.HTTP, log *slog.Logger) (policy access.Policy, encryption *tls.Config, err error) {
	policy = access.Policy{Read: mayRead(h.Read), Plain: h.Insecure, Log: log}
	if h.Users != "" {
		if policy.Users, err = access.OpenUsers(h.Users, log); err != nil {
			return policy, nil, err
		}
	}
	if h.TLS != (config.HTTPTLS{}) {
		encryption, err = access.TLS(h.TLS.Cert, h.TLS.Key, log)
	}
	return policy, encryption, err
}

func mayRead(word string) access.Reading {
	switch word {
	case config.ReadLocal:
		return access.ReadLocal
	case config.ReadAnyone:
		return access.ReadAnyone
	default:
		return access.ReadUsers
	}
}

func scheme(h config.HTTP) string {
	if h.TLS == (config.HTTPTLS{}) {
		return "http://"
	}
	return "https://"
}

// checkAccess looks into the files that the configuration names. Those that
// are not there are no fault: a configuration may be written elsewhere.
func checkAccess(h config.HTTP) error {
	var users, pair error
	if h.Users != "" {
		_, users = access.LoadUsers(h.Users)
	}
	if h.TLS != (config.HTTPTLS{}) {
		_, pair = access.LoadPair(h.TLS.Cert, h.TLS.Key)
	}
	return errors.Join(unlessMissing(users), unlessMissing(pair))
}

func unlessMissing(err error) error {
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
}

// printAccess says who may do what over HTTP.
func printAccess(out *printer, h config.HTTP) {
	read := map[string]string{
		config.ReadUsers: "users", config.ReadLocal: "this machine, and users", config.ReadAnyone: "everybody who reaches it",
	}[h.Read]
	if h.Users == "" && h.Read == config.ReadLocal {
		read = "this machine"
	}
	command := "nobody (http.users is not set)"
	if h.Users != "" {
		command = "users in " + h.Users
		if _, err := access.LoadUsers(h.Users); errors.Is(err, fs.ErrNotExist) {
			command += " (not there on this machine)"
		}
	}
	out.printf("page at %s%s; may read: %s; may command: %s\n", scheme(h), h.Listen, read, command)
	if h.Insecure && !h.Loopback() {
		out.printf("note: http.insecure is true: others on the network may read, or listen in and take a secret\n")
	}
}
