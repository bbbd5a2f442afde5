package counter

// Defaulted gives the settings that are in force: the package's own where none
// are given.
func (c Config) Defaulted() Config { return c.withDefaults() }
