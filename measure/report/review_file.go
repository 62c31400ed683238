package report

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"ridgerule/measure"
)

// The review of the plan that a result was measured from lies beside it: the record of a review names the result by its
// content, so the result cannot hold the record.

// reviewName is the file of a review beside result.json.
const reviewName = "review.json"

// reviewFormat is the version of review.json. Additions keep it; a changed name or meaning does not.
const reviewFormat = 1

// reviewFile is review.json. Said is what every page says of it; nobody reads it back.
type reviewFile struct {
	Format int    `json:"format"`
	Said   string `json:"said"`
	By     string `json:"by"`
	Role   string `json:"role"`
	At     string `json:"at"`
	Void   string `json:"void"` // what was changed since; empty: it stands
	Plan   string `json:"plan_sha256"`
	Series string `json:"series,omitempty"`
	Result string `json:"result_sha256"` // content_sha256 of the result.json beside it
}

// ErrReview is what [ReadReview] returns for a file that is no review of ours; test for it with errors.Is.
var ErrReview = errors.New("report: not a review file")

// reviewOf is what stands in review.json beside a result of that content.
func reviewOf(r *measure.Result, content string) (File, error) {
	v := r.Plan.Review
	f := reviewFile{reviewFormat, reviewWords(v), v.By, v.Role, v.At, v.Void, r.Plan.SHA256, r.Scan.SeriesHash, content}
	var b bytes.Buffer
	err := json.MarshalWrite(&b, f, json.Deterministic(true), jsontext.WithIndent("  "), jsontext.EscapeForJS(true), jsontext.AllowInvalidUTF8(true))
	b.WriteByte('\n')
	return File{reviewName, b.Bytes()}, err
}

// ReadReview gives a result that was read the review that lies beside it: nothing where none lies there. A review of a result
// with another content is void: the result was changed since. Its error wraps [ErrReview], or is the folder's.
func ReadReview(folder fs.FS, r *measure.Result, content string) error {
	data, err := fs.ReadFile(folder, reviewName)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	var f reviewFile
	if err := json.Unmarshal(data, &f, json.RejectUnknownMembers(true)); err != nil {
		return fmt.Errorf("%w: %s: %v; measure again", ErrReview, reviewName, err)
	}
	if f.Format != reviewFormat || f.By == "" || f.Result == "" {
		return fmt.Errorf("%w: %s: format %d, by %q, result_sha256 %q; measure again", ErrReview, reviewName, f.Format, f.By, f.Result)
	}
	if f.Void == "" && (f.Result != content || f.Plan != r.Plan.SHA256 || edited(r)) {
		f.Void = "the result was changed"
	}
	r.Plan.Review = &measure.Reviewed{By: f.By, Role: f.Role, At: f.At, Void: f.Void}
	return nil
}
