package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"

	"bufferstop/harness"
	"bufferstop/harness/record"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/rigs/firmware"
	"bufferstop/rigs/processor"
)

// openFirmware builds a rig that runs the image under test: the one of --build, or the one that the rig file names.
func openFirmware(ctx context.Context, r *rigFlags, data []byte, _ func(...string) error) (harness.Rig, *station.File, error) {
	if err := r.noHabit(); err != nil {
		return nil, nil, err
	}
	switch {
	case r.link != "":
		return nil, nil, &mistake{What: "a firmware rig has no link to choose", Where: "--link", Got: quote(r.link),
			Hint: "the simulated processor's serial port is the link"}
	case r.defect != "":
		return nil, nil, &mistake{What: "a firmware rig has no defect to seed", Where: "--defect", Got: quote(r.defect),
			Hint: "a defect of the firmware is in its image: build one with it"}
	}
	rig, err := firmware.Parse(r.rig, data)
	if err != nil {
		return nil, nil, err
	}
	file, err := r.readStation(rig.Station)
	if err != nil {
		return nil, nil, err
	}
	if processor.Simulator == "" {
		return nil, nil, firmwareMistake(r.rig, "", &firmware.Missing{})
	}
	r.image = cmp.Or(r.build, rig.ImagePath())
	image, err := processor.LoadImage(r.image)
	if err != nil {
		return nil, nil, firmwareMistake(r.rig, r.image, err)
	}
	built, err := firmware.Open(ctx, rig, image, firmware.Options{Seed: r.seed})
	if err != nil {
		return nil, nil, firmwareMistake(r.rig, r.image, err)
	}
	for _, s := range image.Landmarks() {
		r.symbols = append(r.symbols, record.Symbol{Name: s.Name, Address: s.Address, Size: s.Size})
	}
	return built, file, nil
}

// firmwareMistake words why an image cannot be run.
func firmwareMistake(rig, image string, err error) error {
	var missing *firmware.Missing
	var wrong *processor.ImageError
	switch {
	case errors.As(err, &missing):
		return &mistake{What: "no processor simulator in this bufferstop", Where: rig, Got: `kind = "firmware"`,
			Want: "a binary with the build tag simavr", Hint: missing.Hint()}
	case errors.Is(err, fs.ErrNotExist), errors.Is(err, fs.ErrPermission):
		return &mistake{What: "unreadable firmware image", Where: rig, Got: quote(image) + ", " + reason(err), Want: "a file",
			Hint: "build the firmware first, or name its image with --build"}
	case errors.As(err, &wrong):
		where := image
		if wrong.Line > 0 {
			where = fmt.Sprintf("%s:%d", image, wrong.Line)
		}
		return &mistake{What: wrong.What, Where: where, Got: wrong.Got, Want: wrong.Want, Hint: wrong.Hint}
	}
	return exit{verdict.ExitFault, err}
}
