package detect

// Cautions returns the sentences that go with everything that shows or passes on marks: pages, tables, reports and files.
func Cautions() []string {
	return []string{
		"Estimates from pictures: they can be wrong, and things can be missed.",
		"Not for navigation, anchoring or diving.",
		"Obey local fishing rules and closures.",
		"Leave search and recovery to the authorities.",
	}
}
