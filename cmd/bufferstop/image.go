package main

import (
	"crypto/sha256"
	"encoding/hex"
	"io"
	"os"

	"bufferstop/harness/record"
)

// readImage says which firmware image is under test. The image itself is not kept.
func readImage(name string) (record.Build, error) {
	if name == "" {
		return record.Build{}, nil
	}
	unreadable := func(err error) error {
		return &mistake{What: "unreadable firmware image", Where: "--build", Got: quote(name) + ", " + reason(err), Want: "a file",
			Hint: "name the .hex, .elf or .bin that is in the station"}
	}
	file, err := os.Open(name)
	if err != nil {
		return record.Build{}, unreadable(err)
	}
	defer file.Close()
	sum := sha256.New()
	size, err := io.Copy(sum, file)
	if err != nil {
		return record.Build{}, unreadable(err)
	}
	return record.Build{Image: name, ImageSHA256: hex.EncodeToString(sum.Sum(nil)), ImageSize: size}, nil
}
