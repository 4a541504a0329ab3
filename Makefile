# The few things one does every day; .ci/run calls the same commands.
.PHONY: build test lint fuzz bench demo ci
build:
	go build ./...
test:
	go test ./...
lint:
	gofmt -l . && go vet ./... && staticcheck ./...
fuzz:
	FUZZ_ONLY=1 FUZZ_TIME=60s .ci/run
bench:
	go test -run '^$$' -bench . -benchtime 1x ./...
demo:
	go run ./cmd/padlark demo
ci:
	bash .ci/run
