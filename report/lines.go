package report

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// wrap breaks text into lines of at most width runes; a longer word is cut.
func wrap(text string, width int) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(text) {
		for utf8.RuneCountInString(word) > width {
			if line != "" {
				lines, line = append(lines, line), ""
			}
			r := []rune(word)
			lines, word = append(lines, string(r[:width])), string(r[width:])
		}
		switch {
		case line == "":
			line = word
		case utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) <= width:
			line += " " + word
		default:
			lines, line = append(lines, line), word
		}
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}

// shorten cuts the middle out of text that is longer than width runes.
func shorten(text string, width int) string {
	r := []rune(text)
	if len(r) <= width {
		return text
	}
	head := (width - 1) / 2
	return string(r[:head]) + "…" + string(r[len(r)-(width-1-head):])
}

// printable replaces what could move a terminal's cursor or change its colours:
// file names come from outside.
func printable(text string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case unicode.IsPrint(r):
			return r
		case unicode.IsSpace(r):
			return ' '
		}
		return '?'
	}, text)
}
