package report

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"io"
	"time"
)

// Table is one CSV file of a data package.
type Table struct {
	Path    string // relative to datapackage.json: "measurements.csv"
	Title   string
	Columns []Column
	Data    []byte // the file's bytes, for its size and hash
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
	Bytes     int             `json:"bytes"`
	Hash      string          `json:"hash"`
	Table     tableSchemaJSON `json:"schema"`
}

type tableSchemaJSON struct {
	Schema        string   `json:"$schema"`
	Fields        []Column `json:"fields"`
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
	sum := sha256.Sum256(t.Data)
	return resourceJSON{
		Schema: "https://datapackage.org/profiles/2.0/dataresource.json",
		Name:   resourceName(t.Path), Type: "table", Title: t.Title, Path: t.Path,
		Format: "csv", Mediatype: "text/csv", Encoding: "utf-8",
		Bytes: len(t.Data), Hash: "sha256:" + hex.EncodeToString(sum[:]),
		Table: tableSchemaJSON{
			Schema:        "https://datapackage.org/profiles/2.0/tableschema.json",
			Fields:        t.Columns,
			MissingValues: []string{""},
		},
	}
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
