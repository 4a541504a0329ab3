package broker_test

import (
	"errors"
	"fmt"
	"io"
	"net"

	"padlark/ingest/broker"
)

// A board connects, by the bytes of MQTT 3.1.1, sections 3.1 and 3.2, and publishes.
func ExampleServe() {
	station, board := net.Pipe()
	served := make(chan error, 1)
	go func() {
		served <- broker.Serve(station, 1024, func(user, _ []byte) bool { return true }, func(topic string, message []byte) error {
			fmt.Printf("%s: %s\n", topic, message)
			return nil
		})
	}()
	answer := make([]byte, 4)
	_, connected := board.Write([]byte("\x10\x0e\x00\x04MQTT\x04\x02\x00\x3c\x00\x02b7"))
	_, answered := io.ReadFull(board, answer)
	fmt.Printf("% x\n", answer)
	_, published := board.Write([]byte("\x30\x0a\x00\x04baro98.4")) // with quality 0
	_, left := board.Write([]byte("\xe0\x00"))
	if err := errors.Join(connected, answered, published, left, <-served, board.Close()); err != nil {
		fmt.Println(err)
	}
	// Output:
	// 20 02 00 00
	// baro: 98.4
}
