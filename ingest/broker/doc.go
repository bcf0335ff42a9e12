// Package broker is the MQTT broker for a room with one machine: sensors
// publish to it and what they say goes straight to the sink.
//
// The promise: a PUBACK (or PUBREC) means that the sink has the message on
// disk. The hook that sees a publication hands it to the sink and returns
// after the commit; the broker keeps no data of its own, so nothing in it can
// be lost. Publications of different clients reach the sink at the same time,
// which lets it commit them together; those of one client follow one another.
// When the sink fails, the publication is not acknowledged and the client is
// disconnected, because an MQTT 3.1.1 client sends again only on its next
// connection.
//
// Messages are passed on to other subscribers as well, so that somebody can
// listen; for those the broker keeps sessions and retained messages in memory
// only. A room with many devices or with subscribers that matter should run a
// broker beside this program instead, and read it with the mqtt package.
package broker
