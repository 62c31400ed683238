// Command mutate changes one operator at a time in a room and tells which changes the room's own tests miss.
//
//	go run ./testdata/mutate measure/plan
//	go run ./testdata/mutate -sample 250 -seed 12 measure/ridge
//	go run ./testdata/mutate -at check.go:88 measure/plan
//
// Nothing in the tree is changed: each mutant is built through the compiler's overlay.
package main

import (
	"errors"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
)

func main() {
	sample := flag.Int("sample", 0, "try so many mutants, drawn at random; 0 means all")
	seed := flag.Uint64("seed", 1, "of the draw")
	workers := flag.Int("workers", 1, "mutants tried at once")
	at := flag.String("at", "", "only the mutants of these FILE:LINE, comma between")
	flag.Parse()
	if err := run(flag.Arg(0), *sample, *seed, *workers, *at); err != nil {
		fmt.Fprintln(os.Stderr, "mutate:", err)
		os.Exit(1)
	}
}

func run(dir string, sample int, seed uint64, workers int, at string) error {
	scratch, err := os.MkdirTemp("", "mutate")
	if err != nil {
		return err
	}
	defer func() { _ = os.RemoveAll(scratch) }() // a folder of our own under the system's
	r, err := newRoom(dir, scratch)
	if err != nil {
		return err
	}
	all, err := mutants(dir)
	if err != nil {
		return err
	}
	reached := slices.DeleteFunc(slices.Clone(all), func(m mutant) bool { return len(r.reaching(m)) == 0 })
	chosen := choose(reached, sample, seed, at)
	unfit, err := r.buildAll(chosen)
	if err != nil {
		return err
	}
	killed, tried, err := r.tryAll(chosen, unfit, workers)
	if err != nil {
		return err
	}
	low, high := wilson(killed, tried)
	fmt.Printf("%s: statements covered %.1f %%, mutants reached %d of %d; tried %d: killed %d, survived %d; killed %.1f %% (95 %%: %.1f to %.1f)\n",
		dir, r.covered, len(reached), len(all), tried, killed, tried-killed, percent(killed, tried), low, high)
	if at == "" && (10*killed < 9*tried || 10*len(reached) < 9*len(all) || r.covered < 90) {
		return errors.New("short of 90 %")
	}
	return nil
}

// choose draws a sample without replacement, or takes the mutants of the lines named.
func choose(all []mutant, sample int, seed uint64, at string) []mutant {
	if at != "" {
		lines := strings.Split(at, ",")
		return slices.DeleteFunc(slices.Clone(all), func(m mutant) bool { return !slices.Contains(lines, m.place()) })
	}
	if sample == 0 || sample >= len(all) {
		return all
	}
	chosen := slices.Clone(all)
	rand.New(rand.NewPCG(seed, 0)).Shuffle(len(chosen), func(i, j int) { chosen[i], chosen[j] = chosen[j], chosen[i] })
	return chosen[:sample]
}

// wilson returns the 95 % interval of the rate k of n, in percent.
//
// Source: Wilson EB. J Am Stat Assoc 1927;22:209–212. doi:10.1080/01621459.1927.10502953
func wilson(k, n int) (low, high float64) {
	if n == 0 {
		return 0, 100
	}
	const z = 1.959964
	p, N := float64(k)/float64(n), float64(n)
	middle := (p + z*z/(2*N)) / (1 + z*z/N)
	half := z / (1 + z*z/N) * math.Sqrt(p*(1-p)/N+z*z/(4*N*N))
	return 100 * (middle - half), 100 * (middle + half)
}

func percent(k, n int) float64 {
	if n == 0 {
		return 0
	}
	return 100 * float64(k) / float64(n)
}
