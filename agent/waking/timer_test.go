package waking

import (
	"testing"
	"time"

	"go.uber.org/goleak"
)

func TestTimerWaitsAtLeastAsLongAsItIsSet(t *testing.T) {
	defer goleak.VerifyNone(t)
	timer, err := NewTimer()
	if err != nil {
		t.Fatal(err)
	}
	defer timer.Stop()
	for range 20 {
		const wait = 3 * time.Millisecond
		began := time.Now()
		timer.Reset(wait)
		<-timer.C()
		if took := time.Since(began); took < wait {
			t.Errorf("waited %s, want %s", took, wait)
		}
	}
	timer.Reset(time.Hour)
	timer.Reset(0) // takes its place
	<-timer.C()
	select {
	case <-timer.C():
		t.Error("over twice")
	case <-time.After(20 * time.Millisecond):
	}
}

func TestAStoppedTimerHoldsNobodyUp(t *testing.T) {
	defer goleak.VerifyNone(t)
	timer, err := NewTimer()
	if err != nil {
		t.Fatal(err)
	}
	timer.Reset(time.Hour)
	timer.Stop()
	timer.Reset(time.Hour)
	<-timer.C()
}
