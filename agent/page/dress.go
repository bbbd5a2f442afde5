package page

import (
	"errors"
	"fmt"
	"html"
	"html/template"
	"regexp"
	"strconv"
	"strings"
)

// The library draws axes, grid, labels and lines. Here its inline styles, which
// the page's security policy forbids, become classes; its two edges of a band
// become one area; and marks are put at the places of its own axis.

var (
	drawn   = regexp.MustCompile(`<(path|text|circle) ([^>]*?) style="([^"]*)"(/?)>`)
	colour  = regexp.MustCompile(`(?:stroke|fill):rgb\(([0-9]+),0,0\)`)
	corners = regexp.MustCompile(`[ML] (-?[0-9.]+) (-?[0-9.]+)`)
)

var errDrawing = errors.New("chart: the library draws otherwise than it did")

// axes are where the library put its own.
type axes struct{ left, right, top, bottom float64 }

func (a axes) x(place float64) float64 { return a.left + (a.right-a.left)*place }

// dress gives the picture for the page and where its axis begins.
func (d drawing) dress(svg string) (template.HTML, int, error) {
	head, rest, found := strings.Cut(svg, ">")
	body, closed := strings.CutSuffix(strings.TrimSpace(rest), "</svg>")
	if !found || !closed || !strings.HasPrefix(head, "<svg ") {
		return "", 0, errDrawing
	}
	var edges [2][]string
	var under strings.Builder
	a := axes{top: -1}
	faults := 0
	body = drawn.ReplaceAllStringFunc(body, func(one string) string {
		parts := drawn.FindStringSubmatch(one)
		class := d.class(parts[3])
		if parts[1] == "circle" { // a point without neighbours
			class = map[string]string{"mean": "alone", "low": "nothing", "high": "nothing"}[class]
		}
		switch class {
		case "":
			faults++
		case "nothing":
			return ""
		case "low":
			edges[0] = append(edges[0], parts[2])
			return ""
		case "high":
			edges[1] = append(edges[1], parts[2])
			return ""
		case "grid":
			a.note(parts[2])
		case "axis":
			a.base(parts[2])
		}
		attributes := strings.Join(strings.Fields(parts[2]), " ")
		if strings.HasPrefix(class, "limit") {
			attributes = ends(parts[2])
		}
		return "<" + parts[1] + " " + attributes + ` class="` + class + `"` + parts[4] + ">"
	})
	if faults > 0 || a.right <= a.left || len(edges[0]) != len(edges[1]) || strings.Contains(body, "style=") {
		return "", 0, errDrawing
	}
	for i := range edges[0] {
		under.WriteString(`<path class="sure" d="` + area(edges[0][i], edges[1][i]) + `"/>`)
	}
	under.WriteString(d.marked(a))
	view := fmt.Sprintf(`<svg class="chart %s" viewBox="0 0 %d %d" role="img" aria-label="%s">`, d.size.class, d.size.wide, d.size.high, html.EscapeString(d.label))
	return template.HTML(view + under.String() + body + "</svg>"), int(a.left), nil
}

// class names a part by its colour.
func (d drawing) class(style string) string {
	found := colour.FindStringSubmatch(style)
	if found == nil {
		if style == "stroke:none;fill:none" {
			return "nothing"
		}
		return ""
	}
	n, _ := strconv.Atoi(found[1]) // digits
	switch uint8(n) {
	case colAxis.R:
		return "axis"
	case colGrid.R:
		return "grid"
	case colText.R:
		return "label"
	case colMean.R:
		return "mean"
	case colLow.R:
		return "low"
	case colHigh.R:
		return "high"
	}
	if i := n - int(colFirst); i >= 0 && i < len(d.limits) {
		return "limit " + d.limits[i].class
	}
	return ""
}

// note takes the uppermost line of the grid, base the axis at the bottom.
func (a *axes) note(path string) {
	if c := corners.FindStringSubmatch(path); c != nil {
		if y := float(c[2]); a.top < 0 || y < a.top {
			a.top = y
		}
	}
}

func (a *axes) base(path string) {
	c := corners.FindAllStringSubmatch(path, -1)
	if len(c) == 2 && c[0][2] == c[1][2] {
		a.left, a.right, a.bottom = float(c[0][1]), float(c[1][1]), float(c[0][2])
	}
}

func float(text string) float64 {
	v, _ := strconv.ParseFloat(text, 64) // digits, by the expression
	return v
}

// ends keeps the first and the last corner of a straight line.
func ends(path string) string {
	c := corners.FindAllStringSubmatch(path, -1)
	if len(c) < 2 {
		return strings.Join(strings.Fields(path), " ")
	}
	return fmt.Sprintf(`d="M%s %sH%s"`, c[0][1], c[0][2], c[len(c)-1][1])
}

// area joins the lower and the upper edge of a band.
func area(low, high string) string {
	var path strings.Builder
	for i, c := range corners.FindAllStringSubmatch(high, -1) {
		verb := "L"
		if i == 0 {
			verb = "M"
		}
		path.WriteString(verb + c[1] + " " + c[2])
	}
	back := corners.FindAllStringSubmatch(low, -1)
	for i := len(back) - 1; i >= 0; i-- {
		path.WriteString("L" + back[i][1] + " " + back[i][2])
	}
	return path.String() + "Z"
}

// marked draws the marks behind the lines, and their letters above.
func (d drawing) marked(a axes) string {
	var out strings.Builder
	letters := d.letterPlaces(a)
	for i, m := range d.marks {
		x := a.x(d.window.at(m.From))
		class := html.EscapeString(m.Class)
		switch wide := max(a.x(d.window.at(m.To))-x, 1.5); {
		case m.Point:
			fmt.Fprintf(&out, `<path class="work" d="M%.1f %gV%g"/><path class="work-head" d="M%.1f %gl5 -8h-10z"/>`, x, a.top, a.bottom, x, a.top)
		case m.Letter == "":
			fmt.Fprintf(&out, `<rect class="span %s" x="%.1f" y="%g" width="%.1f" height="%g"/>`, class, x, a.top, wide, a.bottom-a.top)
		default:
			fmt.Fprintf(&out, `<rect class="span %[1]s" x="%.1[2]f" y="%[3]g" width="%.1[4]f" height="%[5]g"/><rect class="tab %[1]s" x="%.1[2]f" y="%[6]g" width="%.1[4]f" height="4"/>`,
				class, x, a.top, wide, a.bottom-a.top, a.top-4)
		}
		if m.Letter != "" {
			fmt.Fprintf(&out, `<text class="letter" x="%.1f" y="%g">%s</text>`, letters[i], a.top-11, html.EscapeString(m.Letter))
		}
	}
	return out.String()
}

// letterWide is the room that a letter takes.
const letterWide = 11

// letterPlaces gives the middles of the letters, moved apart where they would
// lie on each other.
func (d drawing) letterPlaces(a axes) []float64 {
	places := make([]float64, len(d.marks))
	free := a.right + letterWide
	for i := len(d.marks) - 1; i >= 0; i-- {
		if d.marks[i].Letter == "" {
			continue
		}
		places[i] = min(a.x(d.window.at(d.marks[i].From)), free)
		free = places[i] - letterWide
	}
	return places
}
