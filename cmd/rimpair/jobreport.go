package main

import (
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"rimpair/report"
	"rimpair/report/job"
)

func newJobReportCommand() *cobra.Command {
	var language, paperName, output string
	command := &cobra.Command{
		Use:   "report JOB",
		Short: "Write a job's report, as one HTML page and as a PDF",
		Long: `report writes a job's report twice with the same content: as one HTML page that needs
no network, and as a PDF. It goes into the job's folder, or where --output says.`,
		Args: cobra.ExactArgs(1),
		RunE: func(command *cobra.Command, args []string) error {
			paper, err := paperNamed(paperName)
			if err != nil {
				return err
			}
			l, err := report.NewLanguage(language)
			if err != nil {
				return err
			}
			s, err := job.Inspect(args[0])
			if err != nil {
				return err
			}
			p := report.NewJobPaper(report.JobSource{Job: s, Version: version, Now: time.Now(), Picture: report.JobPictureIn(args[0]), Language: l})
			for _, alarm := range report.JobAlarms(s.Job, l) {
				fmt.Fprintln(command.OutOrStdout(), "!!", alarm)
			}
			base := output
			if base == "" {
				base = filepath.Join(args[0], "report")
			}
			base = strings.TrimSuffix(strings.TrimSuffix(base, ".html"), ".pdf")
			for _, f := range []struct {
				name    string
				content func(io.Writer) error
			}{
				{base + ".html", p.HTML},
				{base + ".pdf", func(w io.Writer) error { return p.PDF(w, paper) }},
			} {
				if err := job.WriteFile(f.name, f.content); err != nil {
					return err
				}
				fmt.Fprintln(command.OutOrStdout(), f.name)
			}
			return nil
		},
	}
	f := command.Flags()
	f.StringVar(&language, "language", "en", "language: "+strings.Join(report.LanguageCodes(), " or "))
	f.StringVar(&paperName, "paper", "a4", "paper size of the PDF: "+strings.Join(paperNames(), " or "))
	f.StringVarP(&output, "output", "o", "", "files to write, without .html and .pdf (report, in the job's folder)")
	return command
}
