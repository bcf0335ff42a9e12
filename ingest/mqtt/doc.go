// Package mqtt takes messages from an MQTT broker and acknowledges each of
// them only after the sink has it on disk.
//
// What was taken and not yet acknowledged stays with the broker, in the
// persistent session of the client id, and comes again after a lost
// connection, a restart of the broker or a kill of this process: at least
// once, not always in order. The sink makes it exactly once, because keeping
// is idempotent.
//
// # How much can be outstanding
//
// The handler that paho calls must not block, because it also stands in the
// way of the answer to a ping. It puts the message into a bounded inbox and
// returns. While the sink fails nothing is acknowledged, so the broker stops
// at its own window: 20 messages in flight for mosquitto as delivered, 1,000
// if set as we advise, 8,192 for mochi. The inbox is larger than any of them
// (10,000 messages), so at QoS 1 it fills only if the connection breaks again
// and again while the sink fails, each time bringing the window once more, or
// if the broker has no window at all. Then, or with a flood at QoS 0, the
// handler waits for a moment well under the ping's time limit and, if there is
// still no room, drops the connection. Nothing acknowledged is lost by that,
// and what was not acknowledged comes again. No new connection is made before
// half of the inbox is free.
//
// # Connections
//
// Every connection is a client of its own, made and waited for by one
// goroutine here; paho's own retry sleeps without being stoppable and without
// jitter. Two clients with one id throw each other out for ever: the waits
// between such short connections grow, Connects counts them, and the error
// text says what to look for.
package mqtt
