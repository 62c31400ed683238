package report

import (
	"bytes"
	_ "embed"
	"errors"
	"fmt"
	"io"
	"sync"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
	"github.com/santhosh-tekuri/jsonschema/v6"

	"ridgerule/measure"
)

// Schema is the JSON Schema (2020-12) of result.json.
//
//go:embed result.schema.json
var Schema []byte

// ErrResult is what [ReadJSON] returns for a file that is no result of ours; test for it with
// errors.Is.
var ErrResult = errors.New("report: not a result file")

// maxResult bounds what ReadJSON reads, bytes: far above any case, far below memory.
const maxResult = 512 << 20

// schemaName is what errors call the schema; a plain file name would grow to where the program runs.
const schemaName = "urn:ridgerule:result"

var resultSchema = sync.OnceValues(func() (*jsonschema.Schema, error) {
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(Schema))
	if err != nil {
		return nil, err
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource(schemaName, doc); err != nil {
		return nil, err
	}
	return c.Compile(schemaName)
})

// WriteJSON writes everything of the result: numbers with their budgets term by term, places,
// margins, the scan and the provenance, as [Schema] describes it, with its content_sha256. [ReadJSON] gives it back.
func WriteJSON(w io.Writer, r *measure.Result, p Provenance) error {
	var b bytes.Buffer
	err := json.MarshalWrite(&b, fileOf(r, p), json.WithMarshalers(marshalers), json.Deterministic(true), json.FormatNilSliceAsNull(true),
		jsontext.WithIndent("  "), jsontext.EscapeForJS(true), jsontext.AllowInvalidUTF8(true), jsontext.PreserveRawStrings(true))
	if err != nil {
		return err
	}
	b.WriteByte('\n')
	_, err = w.Write(sealed(b.Bytes()))
	return err
}

// ReadJSON reads a result that [WriteJSON] wrote. The file is held against [Schema] first; an
// error wraps [ErrResult] and says where the file departs from it. With [ErrChanged], for a file that is not as it was
// written, comes the result all the same.
func ReadJSON(r io.Reader) (*measure.Result, Provenance, error) {
	data, err := io.ReadAll(io.LimitReader(r, maxResult+1))
	if err != nil {
		return nil, Provenance{}, err
	}
	if len(data) > maxResult {
		return nil, Provenance{}, fmt.Errorf("%w: more than %d bytes", ErrResult, maxResult)
	}
	if err := validate(data); err != nil {
		return nil, Provenance{}, err
	}
	var file resultFile
	if err := json.Unmarshal(data, &file, json.WithUnmarshalers(unmarshalers)); err != nil {
		return nil, Provenance{}, fmt.Errorf("%w: %v", ErrResult, err)
	}
	p, err := file.Provenance.provenance()
	if err != nil {
		return nil, Provenance{}, err
	}
	p.Files = file.Files
	counted, written := contentHash(data)
	if p.Content = counted; counted != written {
		err = fmt.Errorf("%w: the bytes of the result do not fit its content_sha256", ErrChanged)
	}
	return file.result(), p, err
}

func validate(data []byte) error {
	schema, err := resultSchema()
	if err != nil {
		return fmt.Errorf("report: result.schema.json: %w", err)
	}
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(data))
	if err != nil {
		return fmt.Errorf("%w: %v", ErrResult, err)
	}
	if err := schema.Validate(doc); err != nil {
		return fmt.Errorf("%w: %v", ErrResult, err)
	}
	return nil
}
