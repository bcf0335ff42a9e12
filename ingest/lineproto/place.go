package lineproto

import (
	"bytes"
	"errors"
	"strconv"
	"strings"

	"github.com/influxdata/line-protocol/v2/lineprotocol"

	"github.com/nightshelf/nightshelf/ingest"
)

const (
	maxQuoted = 64  // bytes of the input in a sentence
	maxDetail = 320 // bytes of a sentence
)

// quote shows a piece of the input in a sentence.
func quote(b []byte) string {
	if len(b) > maxQuoted {
		return strconv.Quote(string(b[:maxQuoted])) + "..."
	}
	return strconv.Quote(string(b))
}

func short(s string, n int) string {
	if len(s) <= n {
		return s
	}
	return strings.ToValidUTF8(s[:n], "") + "..."
}

// syntax makes a fault of the decoder's own error.
func syntax(err error) *fault {
	var at *lineprotocol.DecodeError
	if !errors.As(err, &at) {
		return faultf(ingest.Unreadable, 1, "%v", err)
	}
	return faultf(ingest.Unreadable, at.Column, "%v", at.Err)
}

// word returns where in the text a value stands that is neither number nor text
// nor yes or no, such as nan, if that is what the decoder stumbled over.
func word(text []byte, err error) (start, end int, ok bool) {
	var at *lineprotocol.DecodeError
	if !errors.As(err, &at) {
		return 0, 0, false
	}
	start = at.Column - 1
	if start < 1 || start >= len(text) || text[start-1] != '=' || text[start] == '"' {
		return 0, 0, false
	}
	length := bytes.IndexAny(text[start:], ", \r")
	if length < 0 {
		length = len(text) - start
	}
	return start, start + length, length > 0
}

// place returns the columns of key and value of the field with index n, both
// from 1. The text must hold that many well-formed fields.
func place(text []byte, n int) (key, value int) {
	i := until(text, 0, " ")
	for i < len(text) && text[i] == ' ' {
		i++
	}
	for {
		key = i
		value = min(until(text, key, "=")+1, len(text))
		if n == 0 {
			return key + 1, value + 1
		}
		i = value
		if i < len(text) && text[i] == '"' {
			i = closing(text, i)
		}
		i = min(until(text, i, ",")+1, len(text))
		n--
	}
}

// until returns the index of the next unescaped one of stops at or behind i.
func until(text []byte, i int, stops string) int {
	for ; i < len(text); i++ {
		switch {
		case text[i] == '\\' && i+1 < len(text) && strings.IndexByte(",= ", text[i+1]) >= 0:
			i++
		case strings.IndexByte(stops, text[i]) >= 0:
			return i
		}
	}
	return i
}

// closing returns the index of the quote that closes the text opened at i.
func closing(text []byte, i int) int {
	for i++; i < len(text) && text[i] != '"'; i++ {
		if text[i] == '\\' {
			i++
		}
	}
	return min(i, len(text))
}
