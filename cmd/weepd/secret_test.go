package main

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"
	"golang.org/x/term"
)

// terminal opens a pair of pseudo terminals: what is typed, and where the
// program reads it.
func terminal(t *testing.T) (keyboard, screen *os.File) {
	t.Helper()
	keyboard, err := os.OpenFile("/dev/ptmx", os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = keyboard.Close() })
	number, err := unix.IoctlGetInt(int(keyboard.Fd()), unix.TIOCGPTN)
	if err != nil {
		t.Fatal(err)
	}
	if err := unix.IoctlSetPointerInt(int(keyboard.Fd()), unix.TIOCSPTLCK, 0); err != nil {
		t.Fatal(err)
	}
	screen, err = os.OpenFile(fmt.Sprintf("/dev/pts/%d", number), os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = screen.Close() })
	return keyboard, screen
}

// typist types an answer to each prompt and gives all that the screen showed.
func typist(keyboard, screen *os.File, answers ...string) <-chan string {
	shown := make(chan string, 1)
	go func() {
		var all strings.Builder
		in := bufio.NewReader(keyboard)
		for _, answer := range answers {
			text, _ := in.ReadString(':')
			all.WriteString(text)
			waitHidden(screen) // a person is slower than the prompt
			_, _ = keyboard.WriteString(answer + "\n")
		}
		text, _ := in.ReadString('\n')
		all.WriteString(text)
		shown <- all.String()
	}()
	return shown
}

// waitHidden waits until the terminal hides what is typed.
func waitHidden(screen *os.File) {
	for {
		mode, err := unix.IoctlGetTermios(int(screen.Fd()), unix.TCGETS)
		if err != nil || mode.Lflag&unix.ECHO == 0 {
			return
		}
		time.Sleep(time.Millisecond)
	}
}

func TestSecretIsNotShown(t *testing.T) {
	for _, c := range []struct{ first, again, says string }{
		{"a good secret", "a good secret", ""},
		{"a good secret", "a god secret", "do not match"},
	} {
		keyboard, screen := terminal(t)
		shown := typist(keyboard, screen, c.first, c.again)
		got, err := askSecret(t.Context(), streams{in: screen, out: screen, err: screen}, "Secret for operator")
		switch {
		case c.says == "" && (err != nil || got != c.first):
			t.Errorf("%q, %v", got, err)
		case c.says != "" && (err == nil || !strings.Contains(err.Error(), c.says)):
			t.Errorf("%q, %v; want %s", got, err, c.says)
		}
		if text := <-shown; strings.Contains(text, "good") || !strings.Contains(text, "Secret for operator") || !strings.Contains(text, "Again") {
			t.Errorf("the screen shows %q", text)
		}
	}
}

// Whoever stops at the prompt gets back a terminal that shows what is typed.
func TestStoppedAtThePrompt(t *testing.T) {
	keyboard, screen := terminal(t)
	ctx, cancel := context.WithCancel(t.Context())
	go func() {
		text, _ := bufio.NewReader(keyboard).ReadString(':')
		if strings.Contains(text, "Secret") {
			waitHidden(screen)
		}
		cancel()
	}()
	before, err := term.GetState(int(screen.Fd()))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := askSecret(ctx, streams{in: screen, out: screen, err: screen}, "Secret"); err == nil || !strings.Contains(err.Error(), "nothing was changed") {
		t.Errorf("%v", err)
	}
	after, err := term.GetState(int(screen.Fd()))
	if err != nil || *after != *before {
		t.Errorf("the terminal is left changed (%v)", err)
	}
}
