package dicomio

import (
	"context"
	"errors"
	"fmt"
	"sync/atomic"
	"testing"
	"testing/fstest"
	"time"

	"ridgerule/dicomio/craft"
)

func TestHashIsOfContentNotOfNames(t *testing.T) {
	s, v := readOnly(t, folder(craft.Stack(5)...))
	hash := s.Hash(v)
	other := fstest.MapFS{}
	for k, c := range craft.Stack(5) {
		add(other, fmt.Sprintf("%c/%d", 'q'-k, k*k), c.Bytes())
	}
	if s2, v2 := readOnly(t, other); s2.Hash(v2) != hash {
		t.Error("the hash moved with names and order")
	}
	for what, change := range map[string]func(*craft.File){
		"a voxel":    func(c *craft.File) { c.Pixels[3]++ },
		"a rescale":  func(c *craft.File) { c.Set(0x00281052, "DS", "-1001") },
		"a UID":      func(c *craft.File) { c.Set(0x00080018, "UI", "1.2.3.4.99") },
		"a position": func(c *craft.File) { c.Set(0x00200032, "DS", `-10\-20\31.601`) },
	} {
		files := craft.Stack(5)
		change(files[4])
		if s2, v2 := readOnly(t, folder(files...)); s2.Hash(v2) == hash {
			t.Errorf("%s changed, the hash did not", what)
		}
	}
}

func TestProgressCountsEverySlice(t *testing.T) {
	s := only(t, folder(craft.Stack(20)...))
	last, calls := 0, 0
	if _, err := s.Read(t.Context(), func(done, total int) {
		calls++
		if done != last+1 || total != 20 {
			t.Errorf("progress %d of %d after %d", done, total, last)
		}
		last = done
	}); err != nil || calls != 20 {
		t.Errorf("%d calls, %v", calls, err)
	}
}

func TestReadStopsWhenCancelled(t *testing.T) {
	s := only(t, folder(craft.Stack(50)...))
	ctx, cancel := context.WithCancel(context.Background())
	var seen atomic.Int32
	v, err := s.Read(ctx, func(int, int) {
		if seen.Add(1) == 3 {
			cancel()
		}
	})
	if v != nil || !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, %v", v, err)
	}
	if _, err := Scan(ctx, s.input, Limits{}); !errors.Is(err, context.Canceled) {
		t.Errorf("a cancelled scan gave %v", err)
	}
}

func TestFileThatChangedSinceTheScanIsRefused(t *testing.T) {
	for what, change := range map[string]func(*fstest.MapFile){
		"longer":  func(f *fstest.MapFile) { f.Data = append(f.Data, 0) },
		"touched": func(f *fstest.MapFile) { f.ModTime = f.ModTime.Add(time.Second) },
	} {
		fsys := folder(craft.Stack(4)...)
		s := only(t, fsys)
		change(fsys["10"])
		_, err := s.Read(t.Context(), nil)
		if e, ours := err.(*SeriesError); !ours || e.Code != "unreadable" {
			t.Fatalf("%s: %v", what, err)
		}
		says(t, err.Error(), "10", "changed since it was scanned")
	}
	fsys := folder(craft.Stack(4)...)
	s := only(t, fsys)
	delete(fsys, "10")
	if _, err := s.Read(t.Context(), nil); !errors.Is(err, ErrSeries) {
		t.Errorf("a file that is gone gave %v", err)
	}
}

func TestIdentityIsKeptApart(t *testing.T) {
	s := only(t, folder(craft.Stack(4)...))
	if s.Identity.PatientName != "Secret^Name" || s.Identity.PatientID != "SECRET-ID" || s.Identity.PatientBirthDate != "19010203" {
		t.Errorf("identity %+v", s.Identity)
	}
	says(t, fmt.Sprintf("%+v %+v %v", s.Facts, s.Images, s.Cautions))
}
