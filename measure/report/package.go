package report

import (
	"encoding/json"
	"io"
	"slices"
	"time"
)

// Table is one CSV file of a data package.
type Table struct {
	Path    string // relative to datapackage.json: "measurements.csv"
	Title   string
	Columns []Column
	Key     []string // columns that no two rows share
	Data    []byte   // the file's bytes, for its size and hash

	Bytes  int64  // of a file that is not at hand
	SHA256 string // of that, in hexadecimal; "" where Data is
}

type packageJSON struct {
	Schema      string         `json:"$schema"`
	Name        string         `json:"name"`
	Title       string         `json:"title"`
	Description string         `json:"description"`
	Created     string         `json:"created,omitempty"`
	Resources   []resourceJSON `json:"resources"`
}

type resourceJSON struct {
	Schema    string          `json:"$schema"`
	Name      string          `json:"name"`
	Type      string          `json:"type"`
	Title     string          `json:"title"`
	Path      string          `json:"path"`
	Format    string          `json:"format"`
	Mediatype string          `json:"mediatype"`
	Encoding  string          `json:"encoding"`
	Bytes     int64           `json:"bytes"`
	Hash      string          `json:"hash"`
	Table     tableSchemaJSON `json:"schema"`
}

type tableSchemaJSON struct {
	Schema        string   `json:"$schema"`
	Fields        []Column `json:"fields"`
	PrimaryKey    []string `json:"primaryKey,omitempty"`
	MissingValues []string `json:"missingValues"`
}

// DataPackage describes tables for programs that read CSV with types: a Data Package of version
// 2 with one Table Schema a table. made is the creation date; the zero time leaves it out.
//
// Source: Data Package standard v2.0, datapackage.org (2024-06-26).
func DataPackage(w io.Writer, title string, made time.Time, tables []Table) error {
	out := packageJSON{
		Schema:      "https://datapackage.org/profiles/2.0/datapackage.json",
		Name:        "ridge-measurements",
		Title:       title,
		Description: shortCaution + " Numbers are fixed-point with four decimals; an empty cell is no number.",
	}
	if !made.IsZero() {
		out.Created = made.UTC().Format(time.RFC3339)
	}
	for _, t := range tables {
		out.Resources = append(out.Resources, resource(t))
	}
	return writeIndented(w, out)
}

func resource(t Table) resourceJSON {
	if t.SHA256 == "" {
		t.Bytes, t.SHA256 = int64(len(t.Data)), hashOf(t.Data)
	}
	return resourceJSON{
		Schema: "https://datapackage.org/profiles/2.0/dataresource.json",
		Name:   resourceName(t.Path), Type: "table", Title: t.Title, Path: t.Path,
		Format: "csv", Mediatype: "text/csv", Encoding: "utf-8",
		Bytes: t.Bytes, Hash: "sha256:" + t.SHA256,
		Table: tableSchemaJSON{
			Schema:        "https://datapackage.org/profiles/2.0/tableschema.json",
			Fields:        keyed(t.Columns, t.Key),
			PrimaryKey:    t.Key,
			MissingValues: []string{""},
		},
	}
}

// keyed says of the text in a key that an empty cell of it is a text like any other, and not a missing one.
func keyed(columns []Column, key []string) []Column {
	out := slices.Clone(columns)
	for i, c := range out {
		if c.Type == "string" && slices.Contains(key, c.Name) {
			out[i].Missing = []string{}
		}
	}
	return out
}

func resourceName(path string) string {
	for i := len(path) - 1; i > 0; i-- {
		if path[i] == '.' {
			return path[:i]
		}
	}
	return path
}

func writeIndented(w io.Writer, v any) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false)
	return enc.Encode(v)
}
