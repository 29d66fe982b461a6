// Package job keeps the record of one piece of work on one vehicle: the checks
// before measuring, the toe as found, each turn of a tie rod, each lock nut, the
// final state and later follow-ups.
//
// # The folder
//
// A job is a plain folder that needs no program to be read:
//
//	job.json          everything that was recorded, as job.schema.json describes it
//	photos/NN-what/   the photos of entry NN as they came
//	results/NN-what.json  what was measured from them
//	pictures/NN-what/ small ones for the report, with marks
//	camera/           the profile of a calibrated camera
//
// job.json names every other file with its SHA-256. A file that it does not name
// does not belong to the record.
//
// # Writing
//
// An entry's files are written first, each to a temporary name, forced to the disk
// and renamed; then their folders are forced to the disk; then job.json is replaced
// in the same way. Named files are never written again. So whatever stops the
// program between two steps, job.json is whole, old or new, and so is all that it
// names. One lock file a job lets one process write at a time; the system drops the
// lock of a process that dies.
package job
