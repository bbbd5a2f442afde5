package export

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"path/filepath"
	"strings"

	"weepd/agent"
)

// Ask has the agent that runs on the store in folder export to w.
func Ask(ctx context.Context, folder string, q agent.ExportRequest, w io.Writer) (done agent.Exported, err error) {
	ask, err := json.Marshal(q)
	if err != nil {
		return done, err
	}
	transport := &http.Transport{DialContext: func(ctx context.Context, _, _ string) (conn net.Conn, err error) {
		var d net.Dialer
		err = nearby(filepath.Join(folder, SocketName), func(name string) (err error) {
			conn, err = d.DialContext(ctx, "unix", name)
			return err
		})
		return conn, err
	}}
	defer transport.CloseIdleConnections()
	request, err := http.NewRequestWithContext(ctx, http.MethodPost, "http://agent"+path, bytes.NewReader(ask))
	if err != nil {
		return done, err
	}
	answer, err := (&http.Client{Transport: transport}).Do(request)
	if err != nil {
		return done, fmt.Errorf("ask the agent that runs on %s: %w; export as its user, or stop it", folder, err)
	}
	defer func() { err = errors.Join(err, answer.Body.Close()) }()
	if answer.StatusCode != http.StatusOK {
		text, _ := io.ReadAll(io.LimitReader(answer.Body, 200))
		return done, fmt.Errorf("the agent that runs on %s: %s", folder, strings.TrimSpace(string(text)))
	}
	if _, err := io.Copy(w, answer.Body); err != nil {
		return done, fmt.Errorf("the agent that runs on %s ended the export: %w", folder, err)
	}
	var out outcome
	if err := json.Unmarshal([]byte(answer.Trailer.Get(trailer)), &out); err != nil {
		return done, fmt.Errorf("the agent that runs on %s did not say that the export is whole", folder)
	}
	if out.Error != "" {
		return out.Exported, errors.New(out.Error)
	}
	return out.Exported, nil
}
