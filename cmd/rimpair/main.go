// Command rimpair measures how parallel the two front wheels of a recumbent
// tricycle are, from photos that show printed reference sheets on the floor.
package main

import "os"

func main() { os.Exit(run(os.Args[1:], os.Stdout, os.Stderr)) }
