// Package serve is what stands behind "rimpair serve": the pages, and the HTTP
// interface by which they take photos, have them judged and measured, and keep the
// record of jobs.
//
// # Who may do what
//
// On the loopback interface everybody at this machine may do everything, but no
// other site's page in the same browser: the Host header must name this machine (DNS
// rebinding), writes must come from the same origin (Sec-Fetch-Site, Origin) and
// carry the header X-Rimpair, which a plain form or image cannot send. Opened to the
// local network, everything under /api wants a session, which a code of eight digits
// buys once (see pairing). The static pages hold no data.
//
// # What is acknowledged is kept
//
// A photo is written to a folder of its own beside the job's record and forced to
// the disk before it is acknowledged, under a key that the client made: sent again
// under the same key it is answered, not kept twice. Judging and measuring begin
// from what lies there, so that a killed server goes on where it was. Settling a stage
// adds the photos to the record as one change of the record (see package job), and
// only then clears the folder.
//
// # Limits
//
// Bodies go to the disk piece by piece; only judging, measuring and drawing hold
// pixels, and a semaphore lets two of them do so at a time, one for a large photo.
// Sizes, counts, rates, connections and times are limited in limits.go.
package serve
