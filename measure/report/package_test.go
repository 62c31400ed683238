package report

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"slices"
	"testing"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"
)

// What Data Package v2.0 demands of the properties used here, written for this test from the
// standard's text (datapackage.org/standard, 2024-06-26): required properties, names, types.
const packageRules = `{
 "type": "object", "required": ["$schema", "resources"],
 "properties": {
  "$schema": {"const": "https://datapackage.org/profiles/2.0/datapackage.json"},
  "name": {"type": "string", "pattern": "^[a-z0-9._/-]+$"},
  "created": {"type": "string", "format": "date-time"},
  "resources": {"type": "array", "minItems": 1, "items": {
   "type": "object", "required": ["name", "path", "schema"],
   "properties": {
    "$schema": {"const": "https://datapackage.org/profiles/2.0/dataresource.json"},
    "name": {"type": "string", "minLength": 1}, "path": {"type": "string", "pattern": "^[a-z]"},
    "type": {"const": "table"}, "bytes": {"type": "integer", "minimum": 1},
    "hash": {"type": "string", "pattern": "^sha256:[0-9a-f]{64}$"},
    "schema": {"type": "object", "required": ["fields"], "properties": {
     "$schema": {"const": "https://datapackage.org/profiles/2.0/tableschema.json"},
     "missingValues": {"type": "array", "items": {"type": "string"}},
     "primaryKey": {"type": "array", "minItems": 1, "items": {"type": "string"}, "uniqueItems": true},
     "fields": {"type": "array", "minItems": 1, "items": {
      "type": "object", "required": ["name", "title", "description"],
      "properties": {
       "type": {"enum": ["string", "number"]},
       "constraints": {"type": "object", "properties": {"required": {"type": "boolean"}, "minimum": {"type": "number"},
        "enum": {"type": "array", "minItems": 1, "uniqueItems": true}}},
       "missingValues": {"type": "array", "items": {"type": "string"}},
       "categories": {"type": "array", "items": {"type": "string"}, "uniqueItems": true}
      }}}}}
   }}}
 }}`

func TestDataPackageFollowsTheStandard(t *testing.T) {
	var out bytes.Buffer
	tables := []Table{
		{Path: "measurements.csv", Title: "Measurements", Columns: MeasurementColumns(), Key: MeasurementKey, Data: []byte("x")},
		{Path: "sites.csv", Title: "Sites", Columns: SiteColumns([]float64{1, 3}), Key: SiteKey, Data: []byte("y")},
	}
	require.NoError(t, DataPackage(&out, "Ridge measurements", time.Unix(0, 0), tables))

	rules, err := jsonschema.UnmarshalJSON(bytes.NewReader([]byte(packageRules)))
	require.NoError(t, err)
	c := jsonschema.NewCompiler()
	c.AssertFormat()
	require.NoError(t, c.AddResource("rules.json", rules))
	schema, err := c.Compile("rules.json")
	require.NoError(t, err)
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(out.Bytes()))
	require.NoError(t, err)
	require.NoError(t, schema.Validate(doc))

	var got packageJSON
	require.NoError(t, json.Unmarshal(out.Bytes(), &got))
	require.Equal(t, "measurements", got.Resources[0].Name)
	require.Equal(t, names(MeasurementColumns()), names(got.Resources[0].Table.Fields))
}

// No two rows of a table share its key, and each column of a key is one of the table's.
func TestKeysAreUnique(t *testing.T) {
	tables, err := tablesOf(Case{Result: sampleResult()})
	require.NoError(t, err)
	for _, table := range tables {
		rows, err := csv.NewReader(bytes.NewReader(table.Data)).ReadAll()
		require.NoError(t, err)
		seen := map[string]bool{}
		for _, row := range rows[1:] {
			key := ""
			for _, k := range table.Key {
				at := slices.Index(rows[0], k)
				require.GreaterOrEqual(t, at, 0, k)
				key += row[at] + "\x1f"
			}
			require.False(t, seen[key], "%s: two rows of %q", table.Path, key)
			seen[key] = true
		}
		require.NotEmpty(t, seen)
	}
}

func TestEveryColumnIsDescribed(t *testing.T) {
	for _, c := range append(MeasurementColumns(), SiteColumns([]float64{2.5})...) {
		require.NotEmpty(t, c.Title, c.Name)
		require.NotEmpty(t, c.Description, c.Name)
		require.Contains(t, []string{"string", "number"}, c.Type, c.Name)
	}
}
