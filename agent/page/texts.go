package page

import (
	"embed"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
)

// language is the file of texts in use.
const language = "texts/en.json"

//go:embed texts
var textFiles embed.FS

// texts are all words of the page in one language, by key. A translation is a
// copy of texts/en.json with other values; `%[1]s` and so on stand for what is
// filled in and may be put in another order.
type texts map[string]string

func loadTexts() (texts, error) {
	data, err := textFiles.ReadFile(language)
	if err != nil {
		return nil, err
	}
	t := make(texts)
	if err := json.Unmarshal(data, &t); err != nil {
		return nil, fmt.Errorf("%s: %w", language, err)
	}
	return t, nil
}

// say gives a text; a key that is not there shows as itself.
func (t texts) say(key string, fill ...any) string {
	text, found := t[key]
	if !found {
		return key
	}
	if len(fill) == 0 {
		return text
	}
	return fmt.Sprintf(text, fill...)
}

// orElse gives a text or, for a word that has none, the word.
func (t texts) orElse(prefix, word string) string {
	if text, found := t[prefix+word]; found {
		return text
	}
	return word
}

// strict is say for the templates: a key that is not there is an error.
func (t texts) strict(key string, fill ...any) (string, error) {
	if _, found := t[key]; !found {
		return "", fmt.Errorf("no text %q", key)
	}
	return t.say(key, fill...), nil
}

func (t texts) keys() []string { return slices.Sorted(maps.Keys(t)) }
