SHELL := /bin/bash
OUT ?= bin
BENCH_COUNT ?= 6
BENCH_CAPTURES ?= 28
OTHERWORLD_SEED ?= 5550123
VULNDB ?= https://vuln.go.dev
GOLANGCI := github.com/golangci/golangci-lint/v2/cmd/golangci-lint@v2.15.0
# Browser tests wait for a browser, and the race detector's own memory would be measured as the run's.
UNRACED := ^TestBrowser|^TestParentMemoryIsBounded$$
RACED := ./internal/batch ./internal/export ./internal/runstore ./internal/review
BENCHSTAT := golang.org/x/perf/cmd/benchstat@v0.0.0-20260908200009-22c9c6c9d4da
GOVULNCHECK := golang.org/x/vuln/cmd/govulncheck@v1.9.0

.PHONY: all help setup build demo check test race lint vuln notices bench score otherworld arm64 clean

all: build

help: ## this list
	@sed -nE 's/^([a-z0-9]+):[^#]*## (.*)/\1\t\2/p' $(MAKEFILE_LIST) | while IFS=$$'\t' read -r target what; do \
	printf '  make %-11s%s\n' "$$target" "$$what"; done

setup: ## install what is built with, where it is missing
	@scripts/setup.sh

build: setup ## bin/shadowgap
	go build -o $(OUT)/shadowgap ./cmd/shadowgap

demo: build ## the whole job on a few captures of an invented lake
	$(OUT)/shadowgap demo --out $(OUT)/demo

check: setup ## formatting, shell scripts, go.mod, notices and vet
	@bad=$$(gofmt -l cmd deploy detect eval features internal models scripts); \
	if [ -n "$$bad" ]; then echo "not formatted by gofmt:"; echo "$$bad"; exit 1; fi
	@for f in scripts/*.sh deploy/*.sh .ci/run; do bash -n $$f || exit 1; done
	go mod tidy -diff
	scripts/notices.sh --check
	go vet ./...

test: check ## check, and all tests, layering and linking included
	go test -timeout 15m ./...

race: setup ## the tests of what runs at the same time, under the race detector
	go test -race -skip '$(UNRACED)' -timeout 15m $(RACED)

lint: setup ## golangci-lint
	go run $(GOLANGCI) run

vuln: setup ## known vulnerabilities; VULNDB=file:///FOLDER where the database is kept on disk, UNREACHED=skip where none may answer
	scripts/vuln.sh $(GOVULNCHECK) $(VULNDB) $(UNREACHED)

bench: setup ## speed against Go's decoders and general-purpose detectors; BENCH_CAPTURES=500 for two workers against one, 2000 for memory
	scripts/bench.sh $(BENCH_COUNT) $(BENCH_CAPTURES) $(BENCHSTAT)

score: build ## the detector against the labelled captures in testdata and, when they are at hand, open data
	scripts/score.sh $(OUT)/shadowgap $(OUT)/score testdata/score/summary.json
	if grep -q '<!-- figure' README.md; then go run ./cmd/figures -quote README.md; fi

otherworld: build ## the detector on captures that another hand renders and that nothing is fitted on; OTHERWORLD_SEED=1 for others; Debian
	scripts/setup.sh otherworld
	scripts/otherworld.sh $(OUT)/shadowgap $(OUT)/otherworld $(OTHERWORLD_SEED)

arm64: build ## whether 64-bit ARM, emulated, finds the same marks: same classes, lengths within 1 %; Debian on amd64, many minutes
	scripts/setup.sh arm64
	scripts/arm64.sh $(OUT)/shadowgap $(OUT)/arm64

notices: setup ## THIRD-PARTY-GO.txt, the licences of the Go modules; check fails when it is not current
	scripts/notices.sh

clean: ## remove what was built
	rm -rf $(OUT)
