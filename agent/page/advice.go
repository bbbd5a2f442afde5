package page

// advise says what to do next about a condition, in a mechanic's words: steps
// in order, and the cautions that come before them.
func (s *Server) advise(condition string) (steps, cautions []string) {
	if s.parts.Advice != nil {
		return s.parts.Advice(condition)
	}
	return []string{s.texts.say("advice.other")}, []string{s.texts.say("caution.other")}
}
