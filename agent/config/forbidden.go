package config

import "regexp"

// forbidden is what no advice may tell anybody to do, unless the same text also
// names what makes it right.
type forbidden struct {
	tells  *regexp.Regexp
	unless *regexp.Regexp
	why    string
}

var forbids = []forbidden{
	{
		regexp.MustCompile(`(?i)\b(slacken(ed|s|ing)?|slack(s|ing)? (back|off|it|them|the|a)|loosen(s|ed|ing)?|back(s|ed|ing)? (it |them |the nuts? )?off|eas(e|es|ed|ing) (off|back)|undo)\b`),
		regexp.MustCompile(`(?i)\binstructions?\b`),
		"tells to slacken a gland without the maker's instructions",
	},
	{
		regexp.MustCompile(`(?i)\b(take|takes|taking|remov(e|es|ing)|lift(s|ing)?|open(s|ing)?|without) (off )?(a |the |its |their |any )?guards?\b`),
		regexp.MustCompile(`(?i)\block(ed|ing)?( it| them| the pump)?[ -]?out\b|\bnever\b|\bdo not\b`),
		"speaks of work without guards, but not of lock-out",
	},
	{
		regexp.MustCompile(`(?i)\b(stop(s|ped|ping)? (all |the )?(weep|drip|leak)(s|age|ing)?|no (weep|drip|leak)(s|age)? (at all|any more)|(bone|completely|quite) dry)\b`),
		regexp.MustCompile(`(?i)\bnever\b|\bdo not\b|\bnot to\b`),
		"tells to stop the weep altogether, which burns the packing",
	},
	{
		regexp.MustCompile(`(?i)\b(by(-| )?pass|defeat|disable|bridge)(s|es|ed|ing)? (a |the )?(trip|guard|interlock|lock[ -]?out)`),
		regexp.MustCompile(`(?i)\bnever\b|\bdo not\b`),
		"tells to defeat a protection",
	},
}

// forbiddenAdvice says why a text must not stand; empty if it may. It knows English
// only.
func forbiddenAdvice(text string) (why string) {
	for _, f := range forbids {
		if f.tells.MatchString(text) && !f.unless.MatchString(text) {
			return f.why
		}
	}
	return ""
}
