package detect

import "slices"

// leastChance is the chance of being something from which a mark is returned to who asks for what was left out: one in ten, so that no
// more than nine looks in ten are in vain. It adds 2 marks to a capture of the demo survey and 6 to a developing scene of the wide world;
// without a floor there would be 40 and 144, nearly all of them speckles that nobody would look through.
const leastChance = 0.1

// maybe says whether a mark of these odds, which is not told, is worth a look to who asks for what was left out.
func (o Odds) maybe() bool { return o[Clutter] <= 1-leastChance }

// clutterLast moves what is called clutter behind the other marks and leaves the order alone otherwise.
func clutterLast(marks []MarkRecord) {
	order := func(m MarkRecord) int {
		if m.Class == Clutter {
			return 1
		}
		return 0
	}
	slices.SortStableFunc(marks, func(a, b MarkRecord) int { return order(a) - order(b) })
}

// takeClutter takes what is called clutter out of the marks, so that it is in no hold and adds nothing to the interest: a capture comes to
// the same whether clutter is asked for or not.
func (res *Result) takeClutter() []MarkRecord {
	clutterLast(res.Marks)
	n := slices.IndexFunc(res.Marks, func(m MarkRecord) bool { return m.Class == Clutter })
	if n < 0 {
		return nil
	}
	clutter := res.Marks[n:]
	res.Marks = res.Marks[:n:n]
	return clutter
}

// addClutter puts clutter behind the ranked marks, what is likeliest something first.
func (res *Result) addClutter(clutter []MarkRecord) {
	sortByWorth(clutter)
	res.Marks = append(res.Marks, clutter...)
	for _, m := range clutter {
		res.Counts[m.Class]++
	}
}
