// Package config reads the file that describes one room: where its readings
// come from, its vessels, its phones and what its people bear. What is wrong
// in the file is told all at once, each fault with its line and column and
// the input quoted, in words for the person who wrote it. Only cmd reads it.
package config
