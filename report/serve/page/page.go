// Package page holds the pages that "rimpair serve" shows: plain HTML, CSS and
// ECMAScript modules as they are, without a framework, a build step or anything
// from the network. Package serve answers "/" and "/pair" with index.html and the
// rest under the names that the files have here.
//
// The modules in assets, one idea a file: app.js (frame, routes), words.js
// (catalogues, figures), dom.js (elements), api.js (requests, events), queue.js
// (uploads that outlive a lost connection), drawing.js (SVG), parts.js (what several
// views show), then one file a view. The catalogues hold every text in English and in
// German; what the server says in English itself, only in German.
package page

import "embed"

// FS has index.html, sw.js and assets/.
//
//go:embed index.html sw.js assets
var FS embed.FS
