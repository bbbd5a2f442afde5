//go:build integration

// Package pages looks at the operators' page with a real browser: Debian's
// Chromium, driven by chromedp, before a real agent.
package pages

import (
	"context"
	"encoding/json"
	"fmt"
	"net/url"
	"os"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/fetch"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// patience is generous: a loaded machine is no fault.
const patience = 60 * time.Second

// browser starts a Chromium of its own, that ends with the test.
func browser(t *testing.T) context.Context {
	t.Helper()
	options := append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath("chromium"), chromedp.NoSandbox, // as root, which CI is
		chromedp.Flag("autoplay-policy", "user-gesture-required"),
		chromedp.UserDataDir(t.TempDir()), chromedp.WSURLReadTimeout(patience))
	allocator, stop := chromedp.NewExecAllocator(context.Background(), options...)
	t.Cleanup(stop)
	ctx, quit := chromedp.NewContext(allocator)
	t.Cleanup(quit)
	if err := chromedp.Do(ctx); err != nil {
		t.Fatalf("%v; run deploy/test, which installs what is missing", err)
	}
	return ctx
}

// tab is a page in a browser, with all that went wrong in it.
type tab struct {
	t    *testing.T
	ctx  context.Context
	base string

	mu       sync.Mutex
	requests []string
	bytes    float64 // over the wire
	faults   []string
}

// open makes a tab of its own, with storage and log-in of its own.
func open(t *testing.T, in context.Context, base string) *tab {
	t.Helper()
	ctx, quit := chromedp.NewContext(in, chromedp.WithNewBrowserContext())
	t.Cleanup(quit)
	p := &tab{t: t, ctx: ctx, base: base}
	if err := chromedp.Listen(ctx, p.hear); err != nil {
		t.Fatal(err)
	}
	return p
}

func (p *tab) hear(event any) {
	p.mu.Lock()
	defer p.mu.Unlock()
	switch e := event.(type) {
	case *network.EventRequestWillBeSent:
		p.requests = append(p.requests, e.Request.URL)
	case *network.EventLoadingFinished:
		p.bytes += e.EncodedDataLength
	case *runtime.EventExceptionThrown:
		p.faults = append(p.faults, "exception: "+thrown(e.ExceptionDetails))
	case *log.EventEntryAdded:
		if e.Entry.Source == log.EntrySourceSecurity || e.Entry.Source == log.EntrySourceViolation || e.Entry.Source == log.EntrySourceJavascript {
			p.faults = append(p.faults, fmt.Sprintf("%s: %s", e.Entry.Source, e.Entry.Text))
		}
	case *fetch.EventRequestPaused:
		go func() {
			_, _ = chromedp.Call(p.ctx, fetch.ContinueRequest, fetch.ContinueRequestParams{RequestID: e.RequestID}) // the tab may be gone
		}()
	case *fetch.EventAuthRequired:
		cancel := &fetch.AuthChallengeResponse{Response: fetch.AuthChallengeResponseResponseCancelAuth}
		go func() {
			_, _ = chromedp.Call(p.ctx, fetch.ContinueWithAuth, fetch.ContinueWithAuthParams{RequestID: e.RequestID, AuthChallengeResponse: cancel})
		}()
	case *page.EventJavascriptDialogOpening:
		p.faults = append(p.faults, "dialog: "+e.Message)
		go func() {
			_, _ = chromedp.Call(p.ctx, page.HandleJavaScriptDialog, page.HandleJavaScriptDialogParams{Accept: true}) // the tab may be gone
		}()
	}
}

// clean reports what went wrong in the page: exceptions, what its security
// policy had to stop, dialogs that hostile texts opened, strangers.
func (p *tab) clean() {
	p.t.Helper()
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, f := range p.faults {
		p.t.Errorf("in the page: %s", f)
	}
	own, _ := url.Parse(p.base)
	for _, r := range p.requests {
		if to, err := url.Parse(r); err != nil || to.Host != own.Host {
			p.t.Errorf("a request to a third party: %s", r)
		}
	}
}

func thrown(d *runtime.ExceptionDetails) string {
	if d.Exception != nil && d.Exception.Description != "" {
		return d.Exception.Description
	}
	return d.Text
}

// step is something that is done in a tab.
type step = chromedp.Action[chromedp.Void]

func script(text string) step { return chromedp.Evaluate[chromedp.Void](text) }

func (p *tab) do(steps ...step) {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, patience)
	defer cancel()
	if err := chromedp.Do(ctx, steps...); err != nil {
		p.t.Fatal(err)
	}
}

func (p *tab) call(f func() error) {
	p.t.Helper()
	if err := f(); err != nil {
		p.t.Fatal(err)
	}
}

// cancelDialogs answers the browser's log-in dialogs as one who has no secret.
func (p *tab) cancelDialogs() {
	p.t.Helper()
	yes := true
	p.call(func() error {
		_, err := chromedp.Call(p.ctx, fetch.Enable, fetch.EnableParams{HandleAuthRequests: &yes})
		return err
	})
}

func (p *tab) visit(path string) {
	p.t.Helper()
	p.do(chromedp.Navigate(p.base + path))
}

// eval gives the value of an expression.
func eval[T any](p *tab, expression string) T {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, patience)
	defer cancel()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	if err != nil {
		p.t.Fatalf("%.200s: %v", expression, err)
	}
	return v
}

func (p *tab) holds(expression string) bool {
	ctx, cancel := context.WithTimeout(p.ctx, patience)
	defer cancel()
	yes, err := chromedp.Run(ctx, chromedp.Evaluate[bool]("!!("+expression+")"))
	return err == nil && yes
}

// until waits for an expression to hold.
func (p *tab) until(what, expression string) {
	p.t.Helper()
	eventually(p.t, what, func() bool { return p.holds(expression) })
}

func (p *tab) text(selector string) string {
	p.t.Helper()
	return eval[string](p, fmt.Sprintf("(document.querySelector(%s)||{innerText:''}).innerText", quoted(selector)))
}

func quoted(text string) string {
	out, _ := json.Marshal(text) // a string
	return string(out)
}

// login logs the tab in, as a person does in the browser's own dialog.
func (p *tab) login(name, secret string) {
	p.t.Helper()
	p.do(chromedp.Navigate(fmt.Sprintf("http://%s:%s@%s/login?to=/", name, secret, p.base[len("http://"):])), chromedp.Navigate(p.base+"/"))
}

// live waits until the page follows.
func (p *tab) live() {
	p.t.Helper()
	p.until("the page is live", "document.getElementById('alive') && !document.getElementById('alive').hidden")
}

func readFile(t *testing.T, path string) string {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatalf("%v; run deploy/test, which installs what is missing", err)
	}
	return string(text)
}
