package config

import "strings"

// keyAdvice says what to write instead of an unknown key.
func keyAdvice(name string, fields []field) string {
	if name == "password" {
		return "keep the password in a file of its own and name that with password_file"
	}
	if isNumber(name) {
		return "write decimals with a point, not a comma"
	}
	known := make([]string, len(fields))
	for i, f := range fields {
		known[i] = f.key
	}
	if near, found := nearest(name, known); found {
		return "did you mean " + near + "?"
	}
	if len(known) == 1 {
		return "the only key here is " + known[0]
	}
	return "the keys here are " + strings.Join(known[:len(known)-1], ", ") + " and " + known[len(known)-1]
}

// nearest gives the known word that was most likely meant, if any is near.
func nearest(name string, known []string) (string, bool) {
	name = strings.ToLower(excerpt(name))
	best, least := "", max(1, min(len(name)/3, 3))+1
	for _, k := range known {
		distance := editDistance(name, k)
		if len(name) >= 3 && strings.HasPrefix(k, name+"_") {
			distance = 0 // `dry` for `dry_dpm`
		}
		if distance < least {
			best, least = k, distance
		}
	}
	return best, best != ""
}

// editDistance counts the characters inserted, deleted, replaced or swapped
// with their neighbour between two words (optimal string alignment).
func editDistance(a, b string) int {
	ra, rb := []rune(a), []rune(b)
	var before, above []int
	row := make([]int, len(rb)+1)
	for j := range row {
		row[j] = j
	}
	for i, ca := range ra {
		before, above, row = above, row, make([]int, len(rb)+1)
		row[0] = i + 1
		for j, cb := range rb {
			replace := above[j]
			if ca != cb {
				replace++
			}
			row[j+1] = min(replace, above[j+1]+1, row[j]+1)
			if i > 0 && j > 0 && ca == rb[j-1] && ra[i-1] == cb {
				row[j+1] = min(row[j+1], before[j-1]+1)
			}
		}
	}
	return row[len(rb)]
}
