# Every target installs what is missing first: see tools/install.

.PHONY: build demo test bench clean

build:
	@tools/install
	go build -o rimpair ./cmd/rimpair

# Measures a set of sample photos and says where the pictures are.
demo: build
	./rimpair measure samples/photos/plan-bench/*.jpg --rim 305 --out demo-out

# RIMPAIR_REFERENCES set means: photos from outside must be there, no check is skipped.
test: export RIMPAIR_REFERENCES = $(CURDIR)/.references
test:
	@tools/install test
	@tools/fetch-references
	@unformatted=$$(gofmt -l .); test -z "$$unformatted" || { echo "not formatted by gofmt: $$unformatted"; exit 1; }
	go vet ./...
	go test -timeout 20m ./...

# Tables of measured against true values, and of time and memory: not for every day.
# Parts of it: make bench BENCH="-only speed"
bench: build
	go run ./cmd/bench $(BENCH)

clean:
	rm -rf rimpair demo-out .references
