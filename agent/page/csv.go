package page

import (
	"encoding/csv"
	"net/http"
	"strconv"
	"time"

	"weepd/agent"
)

// csvPart is how much of the history is read at once, csvDeadline how long a
// browser may take for it.
const (
	csvPart     = 24 * time.Hour
	csvDeadline = 30 * time.Second
)

// csvSeries are the columns beside the time: a series and which of its figures.
var csvSeries = [...]struct {
	name, series string
	pick         func(agent.Sample) float64
}{
	{"dpm", agent.SeriesDPM, func(s agent.Sample) float64 { return s.Mean }},
	{"dpm_low", agent.SeriesDPM95, func(s agent.Sample) float64 { return s.Min }},
	{"dpm_high", agent.SeriesDPM95, func(s agent.Sample) float64 { return s.Max }},
	{"rise_c", agent.SeriesRise, func(s agent.Sample) float64 { return s.Mean }},
	{"temp_c", agent.SeriesTemp, func(s agent.Sample) float64 { return s.Mean }},
	{"rest", agent.SeriesRest, func(s agent.Sample) float64 { return s.Mean }},
}

// data gives the history of a gland's view, a row for each minute of which
// something is known (older ones are hours), as RFC 4180 has it.
func (s *Server) data(w http.ResponseWriter, r *http.Request) {
	st := s.stationNow()
	id := r.PathValue("id")
	if _, found := st.byID[id]; !found {
		http.Error(w, s.texts.say("gland.unknown"), http.StatusNotFound)
		return
	}
	span, err := windowOf(r.URL.Query(), st.now)
	if err != nil {
		http.Error(w, s.texts.say(err.Error()), http.StatusBadRequest)
		return
	}
	w.Header().Set("Content-Type", "text/csv; charset=utf-8; header=present")
	w.Header().Set("Content-Disposition", `attachment; filename="`+id+"-"+span.From.UTC().Format("20060102T1504Z")+`.csv"`)
	out := csv.NewWriter(w)
	out.UseCRLF = true
	head := []string{"time"}
	for _, c := range csvSeries {
		head = append(head, c.name)
	}
	err = out.Write(head)
	control := http.NewResponseController(w)
	for from := span.From; err == nil && from.Before(span.To) && s.parts.History != nil; from = from.Add(csvPart) {
		if err = control.SetWriteDeadline(time.Now().Add(csvDeadline)); err == nil {
			err = s.csvRows(r, out, id, from, minTime(from.Add(csvPart), span.To))
		}
	}
	out.Flush()
	if err != nil {
		s.parts.Log.Warn("page: CSV not sent to its end", "gland", id, "error", err)
	}
}

func minTime(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}

func (s *Server) csvRows(r *http.Request, out *csv.Writer, id string, from, to time.Time) error {
	rows := make([][]string, int(csvPart/time.Minute))
	series := make(map[string][]agent.Sample)
	for i, c := range csvSeries {
		samples, read := series[c.series]
		if !read {
			var err error
			if samples, _, err = s.parts.History.Samples(r.Context(), id+"."+c.series, from, to, len(rows)); err != nil {
				return err
			}
			series[c.series] = samples
		}
		for _, one := range samples {
			n := int(one.Start.Sub(from) / time.Minute)
			if n < 0 || n >= len(rows) {
				continue
			}
			if rows[n] == nil {
				rows[n] = make([]string, len(csvSeries)+1)
				rows[n][0] = one.Start.UTC().Format(time.RFC3339)
			}
			rows[n][i+1] = strconv.FormatFloat(c.pick(one), 'f', 2, 64)
		}
	}
	for _, row := range rows {
		if row == nil {
			continue
		}
		if err := out.Write(row); err != nil {
			return err
		}
	}
	return nil
}
