package refit

import (
	"encoding/gob"
	"errors"
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"

	"shadowgap/eval"
	"shadowgap/models/fit"
)

// part is what one run looked at, for trees that are fitted on several: hours of one machine are minutes of a few.
type part struct {
	Scenes, SetIn, Others int
	First                 int64
	Held                  []string
	Behind                map[string]string // checksums of the networks that it was looked at with
	Samples               []fit.Sample
}

// part is what a run of these settings has found.
func (s *Settings) part(all []fit.Sample) (part, error) {
	behind, err := sumsOf(s.Models)
	if err != nil {
		return part{}, err
	}
	return part{s.Scenes, s.SetIn, s.Others, s.First, s.Held, behind, all}, nil
}

// write writes a part to a file of its own.
func (p part) write(file string) (err error) {
	f, err := os.Create(file)
	if err != nil {
		return fmt.Errorf("writing samples: %w", err)
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	if err := gob.NewEncoder(f).Encode(p); err != nil {
		return fmt.Errorf("writing samples to %s: %w", file, err)
	}
	return nil
}

// readParts reads what earlier runs have written. Parts that were looked at with other networks than those of Models are refused, as are
// parts with real groups that another part holds out otherwise or, where any part holds some out, that their own finder has seen, seeds
// that another part has, and, with eval.ErrUnseen, seeds that no fit may see.
func (s *Settings) readParts() ([]part, error) {
	now, err := sumsOf(s.Models)
	if err != nil {
		return nil, err
	}
	parts := make([]part, len(s.From))
	for i, file := range s.From {
		p := &parts[i]
		if err := p.read(file); err != nil {
			return nil, err
		}
		n := max(p.Scenes, p.SetIn, p.Others)
		if err := eval.FitSeeds(p.First, n); err != nil {
			return nil, fmt.Errorf("samples from %s: %w", file, err)
		}
		if !maps.Equal(p.Behind, now) {
			return nil, fmt.Errorf("samples from %s were found with other networks than those of %s", file, s.Models)
		}
		for k, o := range parts[:i] {
			// one that was held out of two finders' fits would count twice, and of one finder's alone it was looked at by another that knows it
			if group := p.sharedReal(&o); group != "" && !slices.Equal(p.Held, o.Held) {
				return nil, fmt.Errorf("samples from %s and from %s both have %s, but other groups held out: %q and %q",
					s.From[k], file, group, o.Held, p.Held)
			}
			if p.First < o.First+int64(max(o.Scenes, o.SetIn, o.Others)) && o.First < p.First+int64(n) {
				return nil, fmt.Errorf("samples from %s and from %s have seeds in common", s.From[k], file)
			}
		}
	}
	apart := slices.ContainsFunc(parts, func(p part) bool { return len(p.Held) > 0 })
	for i := range parts {
		if group := parts[i].seenReal(); apart && group != "" {
			return nil, fmt.Errorf("samples from %s have %s, which is none of the groups held out of its finder's fit: %q",
				s.From[i], group, parts[i].Held)
		}
	}
	return parts, nil
}

// seenReal is a group of real pictures that the part has samples of and its finder has seen, "" where there is none.
func (p *part) seenReal() string {
	for _, x := range p.Samples {
		if isReal(x.Group) && !heldOut(p.Held, x.Group) {
			return x.Group
		}
	}
	return ""
}

// sharedReal is a group of real pictures that both parts have samples of, "" where there is none.
func (p *part) sharedReal(o *part) string {
	ours := map[string]bool{}
	for _, x := range p.Samples {
		ours[x.Group] = true
	}
	for _, x := range o.Samples {
		if isReal(x.Group) && ours[x.Group] {
			return x.Group
		}
	}
	return ""
}

func (p *part) read(file string) error {
	f, err := os.Open(file)
	if err != nil {
		return fmt.Errorf("reading samples: %w", err)
	}
	err = gob.NewDecoder(f).Decode(p)
	if err = errors.Join(err, f.Close()); err != nil {
		return fmt.Errorf("reading samples from %s: %w", file, err)
	}
	return nil
}

// sourceOf says what parts were made of, for the trees' provenance.
func sourceOf(parts []part) string {
	var said []string
	for _, p := range parts {
		if p.Scenes > 0 {
			said = append(said, fmt.Sprintf("%d rendered scenes, seeds %d to %d", p.Scenes, p.First, p.First+int64(p.Scenes)-1))
		}
		if p.SetIn > 0 {
			said = append(said, fmt.Sprintf("%d open pictures of half A with things set in", p.SetIn))
		}
		if p.Others > 0 {
			said = append(said, fmt.Sprintf("%d captures of each of %d worlds by other hands", p.Others, len(others)))
		}
	}
	var told [][]string
	for _, p := range parts {
		if same := func(held []string) bool { return slices.Equal(held, p.Held) }; len(p.Held) > 0 && !slices.ContainsFunc(told, same) {
			told = append(told, p.Held)
			said = append(said, fmt.Sprintf("of the real pictures %s, by a finder that has not seen them", strings.Join(p.Held, ", ")))
		}
	}
	return strings.Join(said, "; ")
}
