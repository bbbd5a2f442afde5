package recording

import "fmt"

// Where names the place of the row that Next gave last, as `FILE:LINE`.
func (r *Reader) Where() string { return fmt.Sprintf("%s:%d", r.name, r.lines.number) }
