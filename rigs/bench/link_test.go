package bench_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"bufferstop/harness"
	"bufferstop/harness/link/linktest"
	"bufferstop/harness/station"
	"bufferstop/rigs"
	"bufferstop/rigs/bench"

	"github.com/stretchr/testify/require"
)

// kinds are the ways in which a station inside is reached.
var kinds = []string{"pty", "tcp", "rfc2217"}

func reference(t testing.TB) *station.File {
	t.Helper()
	file, err := station.LoadFS(rigs.Files, "reference.station.toml")
	require.NoError(t, err)
	return file
}

// rigFile is a rig file in a directory of its own, with a station inside.
func rigFile(t testing.TB, serve, pace string) *bench.File {
	t.Helper()
	text := fmt.Sprintf("kind = \"bench\"\nname = \"%s\"\n[station]\nfile = \"reference.station.toml\"\n[inside]\nserve = %q\npace = %q\n",
		serve, serve, pace)
	if serve != "tcp" {
		text += "path = \"station.tty\"\n"
	}
	file, err := bench.Parse(filepath.Join(t.TempDir(), "bench.rig.toml"), []byte(text))
	require.NoError(t, err)
	return file
}

// open opens the bench, and an RFC 2217 server where one is needed.
func open(t testing.TB, file *bench.File, o bench.Options) harness.Rig {
	t.Helper()
	tty := filepath.Join(file.Folder, file.Inside.Path)
	switch file.Inside.Serve {
	case "pty":
		o.Link = "serial:" + tty + "?baud=115200"
	case "rfc2217":
		o.Link = "rfc2217://" + linktest.Ser2net(t, tty) + "?baud=115200"
	}
	rig, err := bench.Open(context.Background(), file, reference(t), o)
	require.NoError(t, err)
	t.Cleanup(func() {
		require.NoError(t, rig.Close())
		require.NoError(t, rig.Close(), "a second Close does nothing")
		if file.Inside.Path != "" {
			require.NoFileExists(t, tty)
			_, err := os.Lstat(tty)
			require.ErrorIs(t, err, os.ErrNotExist)
		}
	})
	return rig
}
