package access

import (
	"io/fs"
	"log/slog"
	"os"
	"slices"
	"sync"
	"time"
)

// lookEvery bounds how often files are looked at.
const lookEvery = time.Second

// reloaded is a value made from files, made anew when one of them changes.
// While the new files are at fault the old value stays: a slip in a file must
// lock nobody out.
type reloaded[T any] struct {
	what  string
	paths []string
	load  func() (T, error)
	log   *slog.Logger

	mu     sync.Mutex
	value  T
	marks  []mark
	looked time.Time
}

// open makes the first value; a fault is an error only here.
func (r *reloaded[T]) open() error {
	r.marks, r.looked = r.look(), time.Now()
	value, err := r.load()
	r.value = value
	return err
}

func (r *reloaded[T]) get() T {
	r.mu.Lock()
	defer r.mu.Unlock()
	if now := time.Now(); now.Sub(r.looked) >= lookEvery {
		r.looked = now
		r.renew()
	}
	return r.value
}

func (r *reloaded[T]) renew() {
	marks := r.look() // before loading: a change in between is seen next time
	if slices.EqualFunc(marks, r.marks, mark.same) {
		return
	}
	r.marks = marks
	value, err := r.load()
	if err != nil {
		r.log.Error("http: the changed "+r.what+" cannot be used; the old stays in force", "error", err)
		return
	}
	r.value = value
	r.log.Info("http: the changed " + r.what + " is in force")
}

func (r *reloaded[T]) look() []mark {
	var marks []mark
	for _, path := range r.paths {
		info, err := os.Stat(path)
		marks = append(marks, mark{info, err == nil})
	}
	return marks
}

// mark tells one state of a file from another.
type mark struct {
	info  fs.FileInfo
	there bool
}

func (m mark) same(o mark) bool {
	if !m.there || !o.there {
		return m.there == o.there
	}
	return os.SameFile(m.info, o.info) && m.info.Size() == o.info.Size() &&
		m.info.Mode() == o.info.Mode() && m.info.ModTime().Equal(o.info.ModTime())
}

// Users is a users file that is read again when it changes.
type Users struct{ file *reloaded[*Book] }

// OpenUsers reads a users file.
func OpenUsers(path string, log *slog.Logger) (*Users, error) {
	u := &Users{&reloaded[*Book]{
		what: "users file", paths: []string{path}, log: log,
		load: func() (*Book, error) { return LoadUsers(path) },
	}}
	return u, u.file.open()
}

// One gives users that are one person alone, in no file.
func One(name, secret string) (*Users, error) {
	book, err := Parse(name, nil)
	if err != nil {
		return nil, err
	}
	hash, err := hashSecret(secret)
	if err != nil {
		return nil, err
	}
	book.people[name], book.cost = person{Identity{Name: name}, hash}, newCost
	return &Users{&reloaded[*Book]{load: func() (*Book, error) { return book, nil }, value: book}}, nil
}

func (u *Users) book() *Book { return u.file.get() }
