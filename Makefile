# Few targets, each the one obvious way to do its thing. CI runs `make test`; so does everybody else.

GO       ?= go
FUZZTIME ?= 60s
BENCH    ?= .

# What runs firmware needs cgo and the processor simulator, which is not for every machine.
FIRMWARE  = ./rigs/processor ./rigs/firmware ./rigs/box ./rigs/bench/probe/...
SIMULATOR = if [ ! -e /usr/include/simavr/sim_avr.h ] || [ "$$($(GO) env CGO_ENABLED)" != 1 ]; then \
	  echo 'no processor simulator here (libsimavr-dev, libelf-dev and a C compiler), so no firmware ran'; \
	else

.PHONY: build test test-firmware test-bench bench fuzz lint tools

# The program, into the project's folder. No cgo: the one file runs on any machine of its kind, also without a libc.
build:
	CGO_ENABLED=0 $(GO) build -trimpath -o bufferstop$$($(GO) env GOEXE) ./cmd/bufferstop

# All that must hold before a change goes in. The independent references (sigrok-cli, ngspice, Chromium) are installed
# first where that is possible; a test that still misses one says so and skips. The second pass looks for data races, with
# the long tests shortened; then the other two systems must build. A tree that the tests have changed is a fault.
test: tools lint
	@set -e; \
	before=$$(git status --porcelain 2>/dev/null || true); \
	echo '$(GO) test ./...'; \
	$(GO) test -timeout 40m ./...; \
	if [ "$$($(GO) env CGO_ENABLED)" = 1 ]; then \
	  echo '$(GO) test -race -short ./...'; \
	  $(GO) test -race -short -timeout 40m ./...; \
	else \
	  echo 'no C compiler here, so the race detector did not run'; \
	fi; \
	$(SIMULATOR) \
	  echo '$(GO) test -tags simavr $(FIRMWARE)'; \
	  $(GO) vet -tags simavr ./... && $(GO) tool staticcheck -tags simavr ./rigs/... ./cmd/...; \
	  $(GO) test -tags simavr -timeout 40m $(FIRMWARE); \
	  $(GO) test -tags simavr -run 'Firmware|Image|Bench' ./cmd/bufferstop; \
	fi; \
	for system in windows darwin; do \
	  echo "GOOS=$$system $(GO) build ./..."; \
	  GOOS=$$system CGO_ENABLED=0 $(GO) build -buildvcs=false ./...; \
	done; \
	after=$$(git status --porcelain 2>/dev/null || true); \
	if [ "$$before" != "$$after" ]; then \
	  printf 'the tests changed the tree:\n%s\n' "$$after" >&2; exit 1; \
	fi

# The whole of the suites on the firmware examples and on every defect of theirs: half an hour of a quiet core.
test-firmware: tools
	@set -e; $(SIMULATOR) \
	  BUFFERSTOP_FIRMWARE=whole $(GO) test -tags simavr -count=1 -timeout 120m $(FIRMWARE); \
	fi

# Everything of all suites on a bench in a box, in real time over two pseudo-terminals, against the firmware rig, and on a bench whose
# station and probe are simulated: a quarter of an hour of a machine that does nothing else meanwhile. What a busy one could not
# examine is said, and skipped.
test-bench: tools
	@set -e; \
	  BUFFERSTOP_BENCH=whole $(GO) test -v -count=1 -timeout 60m -run 'OverTwoPseudoTerminals|OverALinkThatIsTooSlow' ./rigs/bench; \
	  $(SIMULATOR) \
	  BUFFERSTOP_BENCH=whole $(GO) test -tags simavr -v -count=1 -timeout 60m -run OverTwoPseudoTerminals ./rigs/box; \
	fi

# How fast it is, in the units that matter (edges/s, MB/s, rig-s/s). BENCH=Packet chooses by name.
bench:
	$(GO) test -run '^$$' -bench '$(BENCH)' -benchmem ./...

# Every parser against hostile input, each for FUZZTIME. What a target finds stays under its testdata/fuzz: commit it.
fuzz:
	@set -e; \
	for file in $$(grep -rl --include='*_test.go' '^func Fuzz' . | sort); do \
	  for target in $$(sed -n 's/^func \(Fuzz[A-Za-z0-9_]*\)(.*/\1/p' "$$file"); do \
	    echo "$$target in $$(dirname "$$file") for $(FUZZTIME)"; \
	    $(GO) test -run '^$$' -fuzz "^$$target\$$" -fuzztime '$(FUZZTIME)' -fuzzminimizetime 50x "$$(dirname "$$file")"; \
	  done; \
	done

# What no reviewer should have to find: layout, suspicious code, dead code.
lint:
	@unformatted=$$(gofmt -l .); \
	if [ -n "$$unformatted" ]; then \
	  printf 'not as gofmt prints it:\n%s\n' "$$unformatted" >&2; exit 1; \
	fi
	$(GO) vet ./...
	$(GO) tool staticcheck ./...

# The programs that the tests compare with, through apt where it may.
tools:
	@sh .ci/tools
