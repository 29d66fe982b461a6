// Package page holds the pages that "rimpair serve" shows.
package page

import "embed"

// FS has index.html.
//
//go:embed index.html
var FS embed.FS
