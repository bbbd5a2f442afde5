//go:build integration

package pages

import (
	"bytes"
	"encoding/json"
	"fmt"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/fetch"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	paho "github.com/eclipse/paho.mqtt.golang"

	"weepd/agent"
)

// watchFor notes in the page, by the clock of this machine, when an element
// first has a text.
const watchFor = `(() => {
  window.seen = {};
  const look = () => {
    for (const [name, id, part] of [['dry', 'a-p1-de-dry', 'dry'], ['burning', 'a-p1-de-burning', 'burning'], ['leaking', 'a-p2-nde-leaking', 'leaking']]) {
      const e = document.getElementById(id);
      if (e && e.textContent.includes(part) && !window.seen[name]) window.seen[name] = Date.now();
    }
  };
  new MutationObserver(look).observe(document.body, {subtree: true, childList: true, characterData: true});
  look();
})()`

// An alarm is on the page within 2 s of its event, in two browsers, and cannot
// be missed; acknowledged by keyboard in one of them it shows in the other and
// on MQTT with the name of who.
func TestAlarmFromEventToAcknowledgement(t *testing.T) {
	t.Parallel()
	base, broker := demo(t)
	first := browser(t)
	one := open(t, first, base)
	one.login("demo", "quarry-demo")
	one.live()
	one.do(script(watchFor))
	two := open(t, browser(t), base)
	two.visit("/alarms")
	two.live()
	if one.holds(`document.title.includes("HIGH")`) {
		t.Fatal("an alarm before its event")
	}
	topic := retained(t, broker, "weepd/quarry/alarm/p1-de/dry")

	one.until("both conditions are on the page", "window.seen && window.seen.dry && window.seen.leaking")
	seen := eval[map[string]int64](one, "window.seen")
	for _, e := range events(t, base) {
		if at, found := seen[e.Condition]; found && e.State == agent.StateActive && e.By == "" {
			delay := time.UnixMilli(at).Sub(e.Time)
			t.Logf("%s of %s: on the page %s after its event", e.Condition, e.Gland, delay)
			if delay > 2*time.Second || delay < -time.Second {
				t.Errorf("%s of %s: on the page %s after its event, want at most 2 s", e.Condition, e.Gland, delay)
			}
		}
	}
	two.until("the second browser has it too", "document.getElementById('a-p1-de-dry')")
	for _, p := range []*tab{one, two} {
		p.until("title and icon say it", `document.title.includes('HIGH') && document.getElementById('icon').href.includes('loud.svg')`)
		if !p.holds(`document.getElementById('banner').innerText.includes('Pump 1, drive end')`) {
			t.Error("the banner does not name the gland")
		}
	}

	refusedWithoutLogin(t, two)

	press(t, one, "a-p1-de-dry-acknowledge")
	for name, p := range map[string]*tab{"one": one, "two": two} {
		p.until("acknowledged in browser "+name, `document.getElementById('a-p1-de-dry-b').innerText.includes('in hand: demo')`)
	}
	if !one.holds(`document.activeElement.closest('.card')?.id === 'a-p1-de-dry'`) {
		t.Error("the keyboard's place is lost after acknowledging")
	}
	eventually(t, "acknowledged on MQTT", func() bool {
		var a agent.Alarm
		return json.Unmarshal([]byte(topic()), &a) == nil && a.AlarmState == "acknowledged" && a.By == "demo"
	})
	shelve(t, one, two)
	sound(t, one)
	one.clean()
	two.clean()
}

// press reaches a button by the Tab key alone, and presses it by Enter.
func press(t *testing.T, p *tab, id string) {
	t.Helper()
	for range 80 {
		p.do(chromedp.KeyEvent(kb.Tab))
		if p.holds("document.activeElement.id === " + quoted(id)) {
			p.do(chromedp.KeyEvent(kb.Enter))
			return
		}
	}
	t.Fatalf("%s cannot be reached by the Tab key", id)
}

// refusedWithoutLogin: somebody cancels the browser's own dialog; the page says
// that nothing was done.
func refusedWithoutLogin(t *testing.T, p *tab) {
	t.Helper()
	p.cancelDialogs()
	p.do(chromedp.Click("#a-p1-de-dry-acknowledge"))
	p.until("a command without log-in is refused and says so",
		`/Not done.*log in/i.test(document.getElementById('said').innerText) && !document.getElementById('said').hidden`)
	if p.holds(`document.getElementById('a-p1-de-dry-b').innerText.includes('in hand')`) {
		t.Error("it was done all the same")
	}
	p.call(func() error { _, err := chromedp.Call(p.ctx, fetch.Disable, cdp.Empty{}); return err })
}

func shelve(t *testing.T, one, two *tab) {
	t.Helper()
	one.visit("/alarms")
	one.live()
	one.do(
		chromedp.Click("#a-p2-nde-leaking-shelve-d summary"),
		chromedp.SendKeys("#a-p2-nde-leaking-shelve-d input[name=note]", "packing <b>ordered</b>"),
		chromedp.Click("#a-p2-nde-leaking-shelve"))
	for _, p := range []*tab{one, two} {
		p.until("shelved", `/shelved until .* by demo/.test(document.getElementById('a-p2-nde-leaking-b').innerText) &&
			document.getElementById('a-p2-nde-leaking-b').innerText.includes('packing <b>ordered</b>')`)
	}
	for _, action := range []string{"unshelve", "remove", "restore"} {
		if action == "remove" {
			one.do(chromedp.Click("#a-p2-nde-leaking-remove-d summary"))
		}
		one.until(action+" is offered", "document.getElementById('a-p2-nde-leaking-"+action+"')")
		one.do(chromedp.Click("#a-p2-nde-leaking-" + action))
		want := map[string]string{"unshelve": "not acknowledged", "remove": "out of service by demo", "restore": "not acknowledged"}[action]
		for _, p := range []*tab{one, two} { // also where it was pressed: its buttons are new then
			p.until(action+" shows", "document.getElementById('a-p2-nde-leaking-b').innerText.includes("+quoted(want)+")")
		}
	}
}

// sound is off until somebody wants it.
func sound(t *testing.T, p *tab) {
	t.Helper()
	p.do(script(`window.made = 0; window.AudioContext = class extends AudioContext { constructor() { super(); window.made++; } }`))
	if !p.holds(`document.getElementById('sound').getAttribute('aria-pressed') === 'false' && window.made === 0`) {
		t.Error("sound is on by default")
	}
	p.do(chromedp.Click("#sound"))
	p.until("sound is on", `document.getElementById('sound').getAttribute('aria-pressed') === 'true' && window.made === 1`)
}

func compact(t *testing.T, value json.RawMessage) string {
	t.Helper()
	if len(value) == 0 {
		return ""
	}
	var out bytes.Buffer
	if err := json.Compact(&out, value); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

// retained gives the newest message of a topic.
func retained(t *testing.T, broker, topic string) func() string {
	t.Helper()
	messages := make(chan string, 100)
	client := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + broker).SetClientID("pages"))
	if token := client.Connect(); !token.WaitTimeout(patience) || token.Error() != nil {
		t.Fatal("no broker:", token.Error())
	}
	t.Cleanup(func() { client.Disconnect(0) })
	token := client.Subscribe(topic, 1, func(_ paho.Client, m paho.Message) { messages <- string(m.Payload()) })
	if !token.WaitTimeout(patience) || token.Error() != nil {
		t.Fatal("no subscription:", token.Error())
	}
	last := ""
	return func() string {
		for {
			select {
			case last = <-messages:
			default:
				return last
			}
		}
	}
}

// The phone beside the pump: two taps and one number.
func TestRecordInTwoTapsAndANumber(t *testing.T) {
	t.Parallel()
	configuration, base := station(t, numbered(2), 0)
	launch(t, "run", "--config", configuration)
	healthy(t, base)
	p := open(t, browser(t), base)
	p.do(chromedp.EmulateViewport(390, 844, chromedp.EmulateMobile, chromedp.EmulateTouch))
	p.login(person, secret)
	p.visit("/gland/g000")
	p.live()
	tap := func(where string) {
		p.do(script(`document.querySelector(`+quoted(where)+`).scrollIntoView({block: 'center'})`), chromedp.Click(where))
	}
	for i, entry := range []struct{ summary, number, kind, value string }{
		{"I tightened the nuts", "1", "adjusted", `{"flats":1}`},
		{"I counted drops", "38", "counted", `{"drops":38,"minutes":1}`},
		{"Cleaned the sensor", "", "sensor-cleaned", ``},
	} {
		p.do(script(fmt.Sprintf(`[...document.querySelectorAll('.tiles summary')].find(s => s.textContent === %s).id = 'tile'`, quoted(entry.summary))))
		tap("#tile")
		if entry.number != "" {
			p.until("the number can be typed at once", `document.activeElement.type === 'number'`)
			p.do(chromedp.KeyEvent(entry.number))
		}
		tap(".tiles details[open] button.main")
		eventually(t, entry.kind+" is recorded", func() bool {
			list := events(t, base)
			for _, e := range list[max(len(list)-3, 0):] {
				if e.Entry != nil && e.Entry.Kind == entry.kind {
					return compact(t, e.Entry.Value) == entry.value && e.By == person && e.Gland == "g000"
				}
			}
			return false
		})
		p.until("it is listed", fmt.Sprintf("document.querySelectorAll('#entries li').length === %d", i+1))
		p.do(script(`document.getElementById('tile').removeAttribute('id')`))
	}
	p.clean()
}
