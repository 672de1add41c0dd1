package lock

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/gofrs/flock"
)

// A Directory holds the files of locks. It is made when it is first needed, with mode 1777, as /tmp has it: everybody may
// lock a rig, nobody may delete what is another's.
type Directory string

// Machine is the directory that all users of this machine share. On Unix it is below /tmp and not below os.TempDir, which
// is each user's own where TMPDIR says so (always on macOS); /run/lock is not open to everybody on every system. On
// Windows it is below %ProgramData%, where every user may make files.
func Machine() Directory { return Directory(filepath.Join(shared(), "bufferstop-locks")) }

// retries is how often something is tried again that another process may be about to mend: a file that it has made and
// not yet opened to others, or one that was removed in between. Our own choice.
const (
	retries    = 50
	retryPause = 10 * time.Millisecond
)

// acquire takes one identity.
func (d Directory) acquire(ctx context.Context, owner Owner, identity string) (*file, error) {
	if identity == "" || len(identity) > maxText {
		return nil, fmt.Errorf("rig lock: an identity of %d bytes, want 1 to %d", len(identity), maxText)
	}
	base := filepath.Join(string(d), fileName(identity))
	var err error
	for range retries {
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		var f *file
		f, err = d.try(base, owner, identity)
		if !passing(err) {
			return f, err
		}
		time.Sleep(retryPause)
	}
	var taken *Held
	if errors.As(err, &taken) {
		return nil, err
	}
	return nil, fmt.Errorf("rig lock: %w (is %s a directory with mode 1777, and are the files in it open to you?)", err, d)
}

// passing reports whether an error may be gone in a moment.
func passing(err error) bool {
	var taken *Held
	if errors.As(err, &taken) {
		// The holder has only just taken the rig, or is about to give it back.
		return errors.Is(taken.Unknown, errEmpty)
	}
	return errors.Is(err, fs.ErrPermission) || errors.Is(err, fs.ErrNotExist) || errors.Is(err, errReplaced)
}

// errReplaced says that a lock file was removed, as by a cleaner of /tmp, between opening and locking it.
var errReplaced = errors.New("the lock file was replaced")

func (d Directory) try(base string, owner Owner, identity string) (*file, error) {
	if err := d.prepare(); err != nil {
		return nil, err
	}
	f := &file{says: base + ".json", kernel: flock.New(base+".lock", flock.SetFlag(os.O_RDONLY|careful))}
	for _, name := range []string{f.kernel.Path(), f.says} {
		if err := create(name); err != nil {
			return nil, err
		}
	}
	got, err := f.kernel.TryLock()
	if err != nil {
		return nil, err
	}
	if !got {
		return nil, held(f.says, identity)
	}
	if err := f.begin(owner, identity); err != nil {
		return nil, errors.Join(err, f.kernel.Unlock())
	}
	return f, nil
}

// begin says who has the rig now, and remembers who had it.
func (f *file) begin(owner Owner, identity string) error {
	locked, err := f.kernel.Stat()
	if err != nil {
		return err
	}
	now, err := os.Lstat(f.kernel.Path())
	if err != nil {
		return err
	}
	if !os.SameFile(locked, now) {
		return errReplaced
	}
	if !locked.Mode().IsRegular() {
		return fmt.Errorf("rig lock: %s is no regular file", f.kernel.Path())
	}
	switch before, err := readHolder(f.says); {
	case err == nil:
		f.found = &Stale{Identity: identity, Holder: &before}
	case errors.Is(err, fs.ErrPermission), errors.Is(err, fs.ErrNotExist):
		return err
	case !errors.Is(err, errEmpty):
		f.found = &Stale{Identity: identity, Unreadable: err}
	}
	since := time.Now()
	f.holder = Holder{Identity: identity, Owner: owner, Since: since, Until: since.Add(leaseTime)}
	return f.holder.write(f.says)
}

// held reads who has the rig.
func held(says, identity string) error {
	h := &Held{Identity: identity, Now: time.Now()}
	holder, err := readHolder(says)
	if err != nil {
		h.Unknown = err
		return h
	}
	h.Holder = &holder
	return h
}

// prepare makes the directory, open to everybody.
func (d Directory) prepare() error {
	name := string(d)
	err := os.Mkdir(name, 0o777)
	if err == nil {
		return os.Chmod(name, 0o777|fs.ModeSticky) // the umask took bits away
	}
	if !errors.Is(err, fs.ErrExist) {
		return err
	}
	// What stands there may be another's: a link would lead the files elsewhere.
	info, err := os.Lstat(name)
	if err != nil {
		return err
	}
	if !info.IsDir() {
		return fmt.Errorf("rig lock: %s is no directory (hint: remove it)", name)
	}
	return nil
}

// create makes an empty file, open to everybody, unless there is one. Files that exist are opened without O_CREATE: Linux
// refuses it for another's file in a sticky directory (fs.protected_regular).
func create(name string) error {
	f, err := os.OpenFile(name, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o666)
	if errors.Is(err, fs.ErrExist) {
		return nil
	}
	if err != nil {
		return err
	}
	return errors.Join(os.Chmod(name, 0o666), f.Close())
}

// openExisting opens a file that has to be an ordinary one.
func openExisting(name string, flag int) (*os.File, error) {
	f, err := os.OpenFile(name, flag|careful, 0)
	if err != nil {
		return nil, err
	}
	info, err := f.Stat()
	if err == nil && !info.Mode().IsRegular() {
		err = fmt.Errorf("%s is no regular file", name)
	}
	if err != nil {
		f.Close()
		return nil, err
	}
	return f, nil
}

// fileName is the name for the files of an identity: enough to recognise it by, and a sum that tells all identities apart.
func fileName(identity string) string {
	const shown = 40
	readable := strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' {
			return r
		}
		return '-'
	}, identity)
	readable = strings.Trim(readable[:min(len(readable), shown)], "-")
	sum := sha256.Sum256([]byte(identity))
	return readable + "-" + hex.EncodeToString(sum[:8])
}
