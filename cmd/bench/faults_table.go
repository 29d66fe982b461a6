package main

import (
	"fmt"
	"os"
	"os/exec"
	"strconv"
)

// faultsTable gives each reader of other people's files ten thousand spoilt ones.
func (b *bench) faultsTable() error {
	b.title("Spoilt files: %d for each reader, seed %d", spoiltFiles, b.seed)
	folder, err := os.MkdirTemp(b.dir, "readers")
	if err != nil {
		return err
	}
	all, err := readers(".", folder)
	if err != nil {
		return err
	}
	self, err := os.Executable()
	if err != nil {
		return err
	}
	b.printf("%-16s %8s %8s %8s %10s %8s\n", "reader", "files", "read", "faults", "slowest s", "all s")
	for _, r := range all {
		output, err := exec.Command(self, faultsCommand, r.name, strconv.FormatUint(b.seed, 10)).Output() // what libraries say of each bad file goes to standard error
		b.printf("%s", output)
		if err != nil {
			b.printf("%-16s ended by %v\n", r.name, err)
		}
	}
	b.limits("no fault")
	return nil
}

// triesReader does what faultsTable asks a process of its own for.
func triesReader(args []string) error {
	const name, seed = 0, 1
	if len(args) != 2 {
		return fmt.Errorf("%s READER SEED", faultsCommand)
	}
	n, err := strconv.ParseUint(args[seed], 10, 64)
	if err != nil {
		return err
	}
	return tryReader(args[name], n)
}
