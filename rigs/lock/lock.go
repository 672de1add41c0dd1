// Package lock sees to it that one run at a time uses a rig. A rig is known by what it is physically, such as the serial
// number of the station's USB device, and not by its name or its file: two files may mean the same device.
//
// Each identity has two files in a directory that all users of the machine share. NAME.lock is locked by the kernel as
// long as the process that holds the rig lives, whichever way it ends; NAME.json says who that is, since when, and until
// when the holder promises to be back (the lease, renewed while the rig is held). They are two because Windows lets
// nobody read what is locked. Both stay when the rig is released, NAME.json then being empty: to delete a lock file
// safely is harder than to keep it.
//
// What stands in NAME.json may have been written by anybody. It decides nothing and is only told: the kernel alone knows
// whether a rig is held.
package lock

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/user"
	"slices"
	"sync"
	"time"

	"github.com/gofrs/flock"
)

// A lease lasts this long and is renewed three times as often: a holder that is a minute late is stopped, hangs, or sleeps
// with its machine. Our own choice.
const (
	leaseTime = time.Minute
	renewTime = leaseTime / 3
)

// An Owner is who wants a rig.
type Owner struct {
	User    string `json:"user"`
	Host    string `json:"host"`
	Process int    `json:"process"` // its id on the host
	Command string `json:"command"` // that the user gave
}

// Self is the owner that this process is.
func Self(command string) Owner {
	o := Owner{User: "unknown", Host: "unknown", Process: os.Getpid(), Command: command}
	if u, err := user.Current(); err == nil && u.Username != "" {
		o.User = u.Username
	}
	if host, err := os.Hostname(); err == nil && host != "" {
		o.Host = host
	}
	return o
}

// A Held says that somebody else has the rig, by an identity of it.
type Held struct {
	Identity string
	// Holder is who has it, as far as the file says: its text is untrusted. It is nil when the file does not say, and
	// then Unknown is why.
	Holder  *Holder
	Unknown error
	Now     time.Time // when it was asked for
}

// Error names the rig, the holder and its lease.
func (h *Held) Error() string {
	if h.Holder == nil {
		return fmt.Sprintf("rig %+q is held by a process that does not say who it is: %v", h.Identity, h.Unknown)
	}
	return fmt.Sprintf("rig %+q is held by %s, %s", h.Identity, h.Holder, h.Lease())
}

// Overdue reports whether the holder lives but has not renewed its lease in time.
func (h *Held) Overdue() bool { return h.Holder != nil && h.Now.After(h.Holder.Until) }

// Lease says how the holder's lease stands; empty for an unknown holder.
func (h *Held) Lease() string {
	switch {
	case h.Holder == nil:
		return ""
	case h.Overdue():
		return fmt.Sprintf("lease run out at %s, %s ago, while the process lives", clock(h.Holder.Until), span(h.Now.Sub(h.Holder.Until)))
	}
	return fmt.Sprintf("lease until %s", clock(h.Holder.Until))
}

// A Lock is a rig that is held, by all its identities. It is renewed until Release.
type Lock struct {
	files   []*file
	stop    chan struct{}
	stopped sync.WaitGroup
	once    sync.Once
	failure error // of Release
}

// A file is one identity that is held.
type file struct {
	kernel *flock.Flock
	says   string // name of the file that says who has it
	holder Holder
	found  *Stale
}

// Stale is what a process left behind that ended without releasing its rig.
type Stale struct {
	Identity   string
	Holder     *Holder // untrusted; nil when the file could not be read, and then Unreadable is why
	Unreadable error
}

// String says whose lock was taken over.
func (s Stale) String() string {
	if s.Holder == nil {
		return fmt.Sprintf("rig %+q had a lock of nobody that lives; who it was cannot be read: %v", s.Identity, s.Unreadable)
	}
	return fmt.Sprintf("rig %+q was held by %s, which has ended without giving it back", s.Identity, s.Holder)
}

// Acquire takes the rig with these identities for the owner, without waiting, and holds it until Release. Identities are
// taken in sorted order, all or none. The error is a *Held when somebody has one of them, or says why the files of the
// directory cannot be used.
func (d Directory) Acquire(ctx context.Context, owner Owner, identities ...string) (*Lock, error) {
	names := slices.Clone(identities)
	slices.Sort(names)
	l := &Lock{stop: make(chan struct{})}
	for _, identity := range slices.Compact(names) {
		f, err := d.acquire(ctx, owner, identity)
		if err != nil {
			return nil, errors.Join(err, l.free())
		}
		l.files = append(l.files, f)
	}
	l.stopped.Go(l.renew)
	return l, nil
}

// Stale tells whose locks were taken over, because their processes live no more.
func (l *Lock) Stale() []Stale {
	var all []Stale
	for _, f := range l.files {
		if f.found != nil {
			all = append(all, *f.found)
		}
	}
	return all
}

// Release gives the rig back. A second call does nothing.
func (l *Lock) Release() error {
	l.once.Do(func() {
		close(l.stop)
		l.stopped.Wait()
		l.failure = l.free()
	})
	return l.failure
}

func (l *Lock) free() error {
	var all []error
	for _, f := range slices.Backward(l.files) {
		all = append(all, empty(f.says), f.kernel.Unlock())
	}
	return errors.Join(all...)
}

// renew moves the lease on. That a renewal fails is no reason to end a run: the kernel's lock stands.
func (l *Lock) renew() {
	ticker := time.NewTicker(renewTime)
	defer ticker.Stop()
	for {
		select {
		case <-l.stop:
			return
		case <-ticker.C:
			for _, f := range l.files {
				f.holder.Until = time.Now().Add(leaseTime)
				_ = f.holder.write(f.says)
			}
		}
	}
}
