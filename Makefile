# The few things one does every day; .ci/run calls the same commands.
.PHONY: build test lint fuzz bench demo ci
build:
	go build ./...
test:
	go test ./...
lint:
	bash .ci/run formatted vet staticcheck
fuzz:
	FUZZ_TIME=$${FUZZ_TIME:-60s} bash .ci/run fuzz
bench:
	go test -run '^$$' -bench . -benchtime 1x ./...
demo:
	go run ./cmd/padlark demo
ci:
	bash .ci/run
