package wire_test

import (
	"context"
	"errors"
	"fmt"

	"padlark/web"
	"padlark/web/wire"
)

// An alarm of a session that is over cannot be acknowledged.
func ExampleAcker_Ack() {
	err := wire.Acker{Session: "20260502-100000"}.Ack(context.Background(), "20260501-090000", "Teal/1/silent")
	fmt.Println(errors.Is(err, web.ErrNotFound))
	// Output: true
}
