package lock

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
)

// A process that holds a rig until it is killed: the test binary, told by the environment which one.
const (
	heldDirectory = "BUFFERSTOP_TEST_DIRECTORY"
	heldIdentity  = "BUFFERSTOP_TEST_IDENTITY"
)

func TestMain(m *testing.M) {
	if dir := os.Getenv(heldDirectory); dir != "" {
		hold(Directory(dir), os.Getenv(heldIdentity))
	}
	goleak.VerifyTestMain(m)
}

func hold(d Directory, identity string) {
	if _, err := d.Acquire(context.Background(), Self("hold it"), identity); err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
	fmt.Println("held")
	time.Sleep(time.Hour)
}

// child starts a process that holds a rig and waits until it does.
func child(t *testing.T, d Directory, identity string) *exec.Cmd {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), heldDirectory+"="+string(d), heldIdentity+"="+identity)
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	t.Cleanup(func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
	})
	line, err := bufio.NewReader(out).ReadString('\n')
	require.NoError(t, err)
	require.Equal(t, "held\n", line)
	return cmd
}

func directory(t *testing.T) Directory { return Directory(filepath.Join(t.TempDir(), "locks")) }

func acquire(t *testing.T, d Directory, identities ...string) *Lock {
	t.Helper()
	l, err := d.Acquire(t.Context(), Self("bufferstop run"), identities...)
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, l.Release()) })
	return l
}

func TestARigIsHeldByOneUntilItIsReleased(t *testing.T) {
	d := directory(t)
	first := acquire(t, d, "usb 1209:0001 A7")
	assert.Empty(t, first.Stale())

	_, err := d.Acquire(t.Context(), Self("bufferstop run"), "usb 1209:0001 A7")
	var held *Held
	require.ErrorAs(t, err, &held)
	require.NotNil(t, held.Holder)
	assert.Equal(t, os.Getpid(), held.Holder.Process)
	assert.Equal(t, "bufferstop run", held.Holder.Command)
	assert.False(t, held.Overdue())
	assert.WithinDuration(t, time.Now(), held.Holder.Since, time.Minute)
	for _, part := range []string{`"usb 1209:0001 A7"`, fmt.Sprint("process ", os.Getpid()), `"bufferstop run"`, "since 20", "lease until 20"} {
		assert.Contains(t, err.Error(), part)
	}

	acquire(t, d, "usb 1209:0001 A8") // another rig is free
	require.NoError(t, first.Release())
	require.NoError(t, first.Release(), "a second release does nothing")
	assert.Empty(t, acquire(t, d, "usb 1209:0001 A7").Stale(), "a rig that was given back is no stale one")
}

func TestTheLockOfAKilledProcessIsTakenOverAndSaidSo(t *testing.T) {
	d := directory(t)
	other := child(t, d, "/dev/ttyACM0")
	_, err := d.Acquire(t.Context(), Self("mine"), "/dev/ttyACM0")
	var held *Held
	require.ErrorAs(t, err, &held)
	require.NotNil(t, held.Holder)
	assert.Equal(t, other.Process.Pid, held.Holder.Process)

	require.NoError(t, other.Process.Kill())
	_ = other.Wait()
	l := acquire(t, d, "/dev/ttyACM0")
	require.Len(t, l.Stale(), 1)
	require.NotNil(t, l.Stale()[0].Holder)
	assert.Equal(t, other.Process.Pid, l.Stale()[0].Holder.Process)
	assert.Contains(t, l.Stale()[0].String(), fmt.Sprint("process ", other.Process.Pid))
	assert.Contains(t, l.Stale()[0].String(), "has ended without giving it back")

	_, err = d.Acquire(t.Context(), Self("third"), "/dev/ttyACM0")
	require.ErrorAs(t, err, &held)
	assert.Equal(t, os.Getpid(), held.Holder.Process, "the file names the new holder")
}

func TestSeveralIdentitiesAreHeldTogetherOrNotAtAll(t *testing.T) {
	d := directory(t)
	second := acquire(t, d, "b")
	_, err := d.Acquire(t.Context(), Self("all"), "c", "b", "a")
	var held *Held
	require.ErrorAs(t, err, &held)
	assert.Equal(t, "b", held.Identity)
	acquire(t, d, "a") // was let go again
	require.NoError(t, second.Release())
	l := acquire(t, d, "d", "c", "b", "c")
	var order []string
	for _, f := range l.files {
		order = append(order, f.holder.Identity)
	}
	assert.Equal(t, []string{"b", "c", "d"}, order)
}

func TestTheLeaseIsRenewedWhileTheRigIsHeld(t *testing.T) {
	d := directory(t)
	synctest.Test(t, func(t *testing.T) {
		l, err := d.Acquire(t.Context(), Owner{User: "u", Host: "h", Process: 1}, "x")
		require.NoError(t, err)
		begun := time.Now()
		time.Sleep(10*leaseTime + time.Second)
		synctest.Wait()
		h, err := readHolder(l.files[0].says)
		require.NoError(t, err)
		assert.WithinDuration(t, begun, h.Since, time.Second)
		assert.True(t, h.Until.After(time.Now()), "%v is over at %v", h.Until, time.Now())
		require.NoError(t, l.Release())
	})
}

func TestAHolderThatLivesBeyondItsLeaseIsReportedAsSuch(t *testing.T) {
	d := directory(t)
	l := acquire(t, d, "x")
	h := l.files[0].holder
	h.Until = time.Now().Add(-3 * time.Minute)
	require.NoError(t, h.write(l.files[0].says))
	_, err := d.Acquire(t.Context(), Self("other"), "x")
	var held *Held
	require.ErrorAs(t, err, &held)
	assert.True(t, held.Overdue())
	assert.Regexp(t, `lease run out at 20.*, 3m\d+s ago, while the process lives`, err.Error())
}

func TestAnEndedContextTakesNothing(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	d := directory(t)
	_, err := d.Acquire(ctx, Self("x"), "x")
	require.ErrorIs(t, err, context.Canceled)
	acquire(t, d, "x")
}

// hostile is what somebody may have written into the file.
var hostile = map[string]string{
	"nonsense":       "\x1b[2J\x00\xff rm -rf",
	"an array":       "[1,2,3]",
	"null":           "null",
	"open":           `{"user":"a`,
	"deep":           strings.Repeat("[", 5000),
	"long":           `{"user":"` + strings.Repeat("a", 1<<20) + `"}`,
	"other keys":     `{"pwned":true}`,
	"negative pid":   `{"identity":"x","user":"u","host":"h","process":-1,"command":"","since":"2026-01-01T00:00:00Z","until":"2026-01-01T00:00:00Z"}`,
	"far year":       `{"identity":"x","user":"u","host":"h","process":1,"command":"","since":"9999-01-01T00:00:00Z","until":"2026-01-01T00:00:00Z"}`,
	"two objects":    `{"identity":"x","user":"u","host":"h","process":1,"command":"","since":"2026-01-01T00:00:00Z","until":"2026-01-01T00:00:00Z"} {}`,
	"escape in text": `{"identity":"x","user":"\u001b[2J\u0007","host":"<script>","process":1,"command":"\r\n","since":"2026-01-01T00:00:00Z","until":"2026-01-01T00:00:00Z"}`,
}

func TestWhatStandsInTheFileHarmsNobody(t *testing.T) {
	for name, content := range hostile {
		t.Run(name, func(t *testing.T) {
			d := directory(t)
			l := acquire(t, d, "x")
			says := l.files[0].says
			require.NoError(t, os.WriteFile(says, []byte(content), 0o600))

			_, err := d.Acquire(t.Context(), Self("other"), "x")
			var held *Held
			require.ErrorAs(t, err, &held, "the kernel alone knows who has it")
			assert.Less(t, len(err.Error()), 2000)
			assert.Regexp(t, `^[ -~…]*$`, err.Error())
			assert.NotContains(t, err.Error(), "\x1b")

			require.NoError(t, l.Release())
			require.NoError(t, os.WriteFile(says, []byte(content), 0o600))
			taken := acquire(t, d, "x")
			require.Len(t, taken.Stale(), 1)
			assert.Regexp(t, `^[ -~…]*$`, taken.Stale()[0].String())
		})
	}
}

func TestAFileThatIsNoFileIsNotFollowed(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("symbolic links need rights there that a test may not have")
	}
	victim := filepath.Join(t.TempDir(), "victim")
	require.NoError(t, os.WriteFile(victim, []byte("precious"), 0o600))
	for _, suffix := range []string{".json", ".lock"} {
		d := directory(t)
		require.NoError(t, d.prepare())
		require.NoError(t, os.Symlink(victim, filepath.Join(string(d), fileName("x")+suffix)))
		_, err := d.Acquire(t.Context(), Self("x"), "x")
		require.Error(t, err)
	}
	kept, err := os.ReadFile(victim)
	require.NoError(t, err)
	assert.Equal(t, "precious", string(kept))

	elsewhere := Directory(filepath.Join(t.TempDir(), "link"))
	require.NoError(t, os.Symlink(t.TempDir(), string(elsewhere)))
	_, err = elsewhere.Acquire(t.Context(), Self("x"), "x")
	require.ErrorContains(t, err, "is no directory")
}

func TestTheDirectoryIsOpenToEveryUserAndSticky(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("no mode bits there")
	}
	d := directory(t)
	l := acquire(t, d, "x")
	info, err := os.Stat(string(d))
	require.NoError(t, err)
	assert.Equal(t, os.ModeSticky|0o777, info.Mode()&(os.ModeSticky|os.ModePerm))
	for _, name := range []string{l.files[0].says, l.files[0].kernel.Path()} {
		info, err := os.Stat(name)
		require.NoError(t, err)
		assert.EqualValues(t, 0o666, info.Mode().Perm(), name)
	}
}

func TestIdentitiesHaveFilesOfTheirOwn(t *testing.T) {
	assert.NotEqual(t, fileName("usb 1"), fileName("usb-1"))
	assert.Regexp(t, `^dev-serial-by-id-usb-[0-9a-f]{16}$`, fileName("/dev/serial/by-id/usb"))
	assert.Regexp(t, `^[a-zA-Z0-9-]*$`, fileName("../../etc/passwd\x00é"))
	assert.LessOrEqual(t, len(fileName(strings.Repeat("x", 1000))), 60)
	for _, wrong := range []string{"", strings.Repeat("x", maxText+1)} {
		_, err := directory(t).Acquire(t.Context(), Self("x"), wrong)
		require.ErrorContains(t, err, "identity")
	}
}

func TestALongCommandIsCutAndStillRead(t *testing.T) {
	d := directory(t)
	l, err := d.Acquire(t.Context(), Self(strings.Repeat("é", maxText)), "x")
	require.NoError(t, err)
	defer l.Release()
	h, err := readHolder(l.files[0].says)
	require.NoError(t, err)
	assert.True(t, strings.HasSuffix(h.Command, ellipsis))
}

func FuzzParseHolder(f *testing.F) {
	whole, err := json.Marshal(Holder{Identity: "x", Owner: Self("run"), Since: time.Now(), Until: time.Now()})
	require.NoError(f, err)
	f.Add(whole)
	for _, content := range hostile {
		f.Add([]byte(content[:min(len(content), 4096)]))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		h, err := parseHolder(data)
		if err != nil {
			assert.Less(t, len(err.Error()), 1000)
			assert.Regexp(t, `^[ -~…]*$`, err.Error())
			return
		}
		assert.Regexp(t, `^[ -~]*$`, h.String())
		// What was read can be written and read again.
		again, err := json.Marshal(h)
		require.NoError(t, err)
		if len(again) > maxHolderBytes {
			return // escapes have made it longer
		}
		_, err = parseHolder(again)
		require.NoError(t, err, string(again))
	})
}
