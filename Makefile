# make demo   the whole job on a few captures of an invented lake
# make test   formatting, vet and all tests
# make bench  speed against Go's decoders and general-purpose detectors, with benchstat; BENCH_CAPTURES=500 for two workers
#             against one, 2000 for memory over a long run
# make score  the detector against the labelled captures in testdata and, when they are at hand, open data
# make lint   golangci-lint, layering included

SHELL := /bin/bash
OUT ?= bin
BENCH_COUNT ?= 6
BENCH_CAPTURES ?= 28
GOLANGCI := github.com/golangci/golangci-lint/v2/cmd/golangci-lint@v2.15.0
BENCHSTAT := golang.org/x/perf/cmd/benchstat@v0.0.0-20260908200009-22c9c6c9d4da

.PHONY: all setup build demo test check bench score lint clean

all: build

setup:
	@scripts/setup.sh

build: setup
	scripts/go-slim.sh build -o $(OUT)/shadowgap ./cmd/shadowgap

demo: build
	$(OUT)/shadowgap demo --out $(OUT)/demo

check: setup
	@bad=$$(gofmt -l cmd detect eval features internal models); \
	if [ -n "$$bad" ]; then echo "not formatted by gofmt:"; echo "$$bad"; exit 1; fi
	@for f in scripts/*.sh deploy/*.sh .ci/run; do bash -n $$f || exit 1; done
	go vet ./...

test: check
	scripts/go-slim.sh test -timeout 15m ./...

bench: setup
	scripts/bench.sh $(BENCH_COUNT) $(BENCH_CAPTURES) $(BENCHSTAT)

score: build
	scripts/score.sh $(OUT)/shadowgap $(OUT)/score

lint: setup
	go run $(GOLANGCI) run

clean:
	rm -rf $(OUT)
