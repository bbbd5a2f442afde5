package sensors

import (
	"context"
	"testing"
	"testing/synctest"
	"time"
)

// server is a source that counts how often it was asked.
func server(ctx context.Context, p *Patience, work func(asked bool)) {
	for ctx.Err() == nil {
		work(p.Asked(ctx))
	}
	p.Leave()
}

func TestPatienceHoldsUntilAsked(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		p := NewPatience(true)
		asked, hurried := 0, 0
		go server(ctx, p, func(was bool) {
			if was {
				asked++
				Pause(ctx, time.Millisecond) // it takes its time
			} else {
				hurried++
				Pause(ctx, time.Second)
			}
		})
		time.Sleep(time.Hour)
		synctest.Wait()
		if asked != 0 || hurried != 0 {
			t.Errorf("asked %d times, hurried %d, though nobody wanted anything", asked, hurried)
		}
		served := 0
		for i := 1; i <= 3; i++ {
			if !p.Ask(func() { served++ }) {
				t.Fatal("it keeps nothing back")
			}
			if p.Ask(func() { t.Error("asked twice at once") }) || !p.Late() {
				t.Error("it was to be asked once at a time")
			}
			time.Sleep(2 * time.Millisecond)
			synctest.Wait()
			if asked != i || served != i || p.Late() {
				t.Errorf("asked %d times, served %d, late %v; want %d", asked, served, p.Late(), i)
			}
		}
		p.Rest(false)
		time.Sleep(10*time.Second + time.Millisecond)
		synctest.Wait()
		if hurried != 11 || p.Ask(func() { t.Error("served what was not asked") }) {
			t.Errorf("hurried %d times in 10 s, want 11", hurried)
		}
		p.Rest(true)
		time.Sleep(time.Minute)
		synctest.Wait()
		if hurried > 12 || asked != 3 {
			t.Errorf("at rest again: hurried %d times, asked %d", hurried, asked)
		}
		cancel()
		synctest.Wait()
		if p.Ask(func() {}) || p.Late() {
			t.Error("it has ended and is asked still")
		}
	})
}

// Whatever comes at once, nobody waits for ever for what was asked.
func TestWhatWasAskedIsServedOnce(t *testing.T) {
	for name, then := range map[string]func(p *Patience, cancel func()){
		"the rest ends": func(p *Patience, _ func()) { p.Rest(false) },
		"it stops":      func(_ *Patience, cancel func()) { cancel() },
		"back and forth": func(p *Patience, _ func()) {
			p.Rest(false)
			p.Rest(true)
		},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				ctx, cancel := context.WithCancel(t.Context())
				p := NewPatience(true)
				go server(ctx, p, func(bool) { Pause(ctx, time.Millisecond) })
				synctest.Wait()
				served := 0
				p.Ask(func() { served++ })
				then(p, cancel)
				time.Sleep(time.Second)
				synctest.Wait()
				if served != 1 {
					t.Errorf("served %d times, want 1", served)
				}
				cancel()
			})
		})
	}
}

func TestNobodyHasNoPatience(t *testing.T) {
	var p *Patience
	if p.Served(); p.Asked(t.Context()) {
		t.Error("asked by nobody")
	}
}

func TestGridsOfOnePeriodMeet(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithTimeout(t.Context(), 35*time.Second)
		defer cancel()
		began := time.Now()
		clock := func() time.Duration { return 7*time.Second + time.Since(began) }
		met := make(chan time.Duration, 100)
		for i := range 5 {
			go func() {
				time.Sleep(time.Duration(i) * 500 * time.Millisecond)
				g := NewGrid(clock, 10*time.Second)
				defer g.Stop()
				for g.Wait(ctx) {
					met <- clock()
					if i == 0 && clock() == 20*time.Second {
						time.Sleep(11 * time.Second) // late for one: made up for, then in step
					}
				}
			}()
		}
		<-ctx.Done()
		synctest.Wait()
		times := make(map[time.Duration]int)
		for len(met) > 0 {
			times[<-met]++
		}
		if times[10*time.Second] != 5 || times[20*time.Second] != 5 || times[30*time.Second] != 4 || times[31*time.Second] != 1 || times[40*time.Second] != 5 {
			t.Errorf("looks at %v", times)
		}
	})
}
