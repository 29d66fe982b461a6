package main

import (
	"bytes"
	"fmt"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"rimpair/calib"
)

func newSheetCommand() *cobra.Command {
	var output, paperName string
	var numbers []int
	command := &cobra.Command{
		Use:   "sheet",
		Short: "Write the reference sheets to print, as a PDF",
		Long: `Write the reference sheets as a PDF, after a page that shows where to lay them
and where to stand. Print at 100 %, then measure both rulers on each sheet.`,
		Example: "  rimpair sheet -o sheets.pdf\n  rimpair sheet --paper letter --sheets 1,2,3",
		Args:    cobra.NoArgs,
		RunE: func(command *cobra.Command, _ []string) error {
			paper, err := paperNamed(paperName)
			if err != nil {
				return err
			}
			var pdf bytes.Buffer
			if err := calib.WriteSheetsPDF(&pdf, paper, numbers); err != nil {
				return err
			}
			if err := os.WriteFile(output, pdf.Bytes(), 0o644); err != nil {
				return err
			}
			fmt.Fprintf(command.OutOrStdout(),
				"%s: where to lay them, then %s. Print at 100 %% and measure the rulers.\n", output, sheetsInWords(numbers))
			return nil
		},
	}
	flags := command.Flags()
	flags.StringVarP(&output, "output", "o", "sheets.pdf", "file to write")
	flags.StringVar(&paperName, "paper", "a4", "paper size: "+strings.Join(paperNames(), " or "))
	flags.IntSliceVar(&numbers, "sheets", []int{1, 2}, fmt.Sprintf("sheet numbers, 1 to %d", calib.MaxSheets))
	return command
}

func paperNames() []string {
	var names []string
	for _, p := range calib.Papers() {
		names = append(names, p.Name)
	}
	return names
}

func paperNamed(name string) (calib.Paper, error) {
	for _, p := range calib.Papers() {
		if strings.EqualFold(p.Name, name) {
			return p, nil
		}
	}
	return calib.Paper{}, fmt.Errorf("no paper size %q: give %s", name, strings.Join(paperNames(), " or "))
}

// sheetsInWords is "sheet 1" or "sheets 1, 2 and 3".
func sheetsInWords(numbers []int) string {
	last := len(numbers) - 1
	words := make([]string, len(numbers))
	for i, n := range numbers {
		words[i] = fmt.Sprint(n)
	}
	if last == 0 {
		return "sheet " + words[0]
	}
	return "sheets " + strings.Join(words[:last], ", ") + " and " + words[last]
}
