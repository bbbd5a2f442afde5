package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"golang.org/x/term"
)

// askSecret reads a secret: twice and hidden from a terminal, else the first
// line of the input.
func askSecret(ctx context.Context, s streams, prompt string) (string, error) {
	file, isFile := s.in.(*os.File)
	if !isFile || !term.IsTerminal(int(file.Fd())) {
		return firstLine(s.in)
	}
	first, err := hidden(ctx, file, s.err, prompt)
	if err != nil {
		return "", err
	}
	again, err := hidden(ctx, file, s.err, "Again")
	if err != nil {
		return "", err
	}
	if first != again {
		return "", errors.New("the two do not match; nothing was changed")
	}
	return first, nil
}

func firstLine(in io.Reader) (string, error) {
	line, err := bufio.NewReader(io.LimitReader(in, 4096)).ReadString('\n')
	if err != nil && !errors.Is(err, io.EOF) {
		return "", fmt.Errorf("read the secret: %w", err)
	}
	return strings.TrimRight(line, "\r\n"), nil
}

// hidden reads a line from a terminal that does not show it. Ctrl-C gives the
// terminal back as it was.
func hidden(ctx context.Context, terminal *os.File, out io.Writer, prompt string) (string, error) {
	fd := int(terminal.Fd())
	before, err := term.GetState(fd)
	if err != nil {
		return "", err
	}
	if _, err := fmt.Fprintf(out, "%s (it is not shown): ", prompt); err != nil {
		return "", err
	}
	type answer struct {
		text []byte
		err  error
	}
	read := make(chan answer, 1)
	go func() { // ends with the program, where it is not answered
		text, err := term.ReadPassword(fd)
		read <- answer{text, err}
	}()
	select {
	case a := <-read:
		_, err := fmt.Fprintln(out)
		return string(a.text), errors.Join(a.err, err)
	case <-ctx.Done():
		_, err := fmt.Fprintln(out)
		return "", errors.Join(errors.New("stopped; nothing was changed"), term.Restore(fd, before), err)
	}
}
