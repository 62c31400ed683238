package main

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// A mutant is one operator of a file put for another.
type mutant struct {
	path     string // of the file, from the module's folder
	at       token.Position
	from, to string
	id       int
	room     string // the package's name
	set      *token.FileSet
	in       *ast.FuncDecl  // nil outside every function
	asked    token.Position // where the coverage is asked; Go has none for the conditions of a switch's cases, so the switch's place
}

func (m mutant) place() string { return fmt.Sprintf("%s:%d", filepath.Base(m.path), m.at.Line) }

func (m mutant) String() string {
	text, err := os.ReadFile(m.path)
	if err != nil {
		return m.place()
	}
	line := strings.TrimSpace(strings.Split(string(text), "\n")[m.at.Line-1])
	return fmt.Sprintf("%s:%d  %s → %s  in  %s", m.place(), m.at.Column, m.from, m.to, line)
}

// swaps are the changes tried: arithmetic, bounds of comparisons, comparisons turned round, ++ and −−.
var swaps = map[token.Token][]token.Token{
	token.ADD: {token.SUB}, token.SUB: {token.ADD}, token.MUL: {token.QUO}, token.QUO: {token.MUL}, token.REM: {token.MUL},
	token.LSS: {token.LEQ, token.GEQ}, token.LEQ: {token.LSS, token.GTR},
	token.GTR: {token.GEQ, token.LEQ}, token.GEQ: {token.GTR, token.LSS},
	token.EQL: {token.NEQ}, token.NEQ: {token.EQL},
	token.INC: {token.DEC}, token.DEC: {token.INC},
}

// mutants returns those of a room's files, in the order of the files and places.
func mutants(dir string) ([]mutant, error) {
	paths, err := filepath.Glob(filepath.Join(dir, "*.go"))
	if err != nil {
		return nil, err
	}
	var all []mutant
	for _, path := range paths {
		if strings.HasSuffix(path, "_test.go") {
			continue
		}
		set := token.NewFileSet()
		file, err := parser.ParseFile(set, path, nil, parser.SkipObjectResolution)
		if err != nil {
			return nil, err
		}
		all = append(all, ofFile(set, file, path)...)
	}
	for i := range all {
		all[i].id = i + 1
	}
	return all, nil
}

func ofFile(set *token.FileSet, file *ast.File, path string) (all []mutant) {
	var above []ast.Node
	ast.Inspect(file, func(n ast.Node) bool {
		if n == nil {
			above = above[:len(above)-1]
			return true
		}
		above = append(above, n)
		op, at := operator(n)
		tos := swaps[op]
		if _, sign := n.(*ast.UnaryExpr); sign {
			tos = nil
			if op == token.SUB {
				tos = []token.Token{token.ADD}
			}
		}
		for _, to := range tos {
			m := mutant{path: path, at: set.Position(at), from: op.String(), to: to.String(), room: file.Name.Name, set: set, asked: set.Position(at)}
			if len(above) > 1 {
				m.in, _ = above[1].(*ast.FuncDecl)
			}
			if s := switchAbove(above); s.IsValid() {
				m.asked = set.Position(s)
			}
			all = append(all, m)
		}
		return true
	})
	return all
}

func operator(n ast.Node) (token.Token, token.Pos) {
	switch n := n.(type) {
	case *ast.BinaryExpr:
		return n.Op, n.OpPos
	case *ast.UnaryExpr:
		return n.Op, n.OpPos
	case *ast.IncDecStmt:
		return n.Tok, n.TokPos
	}
	return token.ILLEGAL, token.NoPos
}

// switchAbove returns the place of the switch whose case's condition holds the last node, if one does.
func switchAbove(above []ast.Node) token.Pos {
	for i := len(above) - 1; i > 1; i-- {
		if c, is := above[i-1].(*ast.CaseClause); is {
			if e, is := above[i].(ast.Expr); is && slices.Contains(c.List, e) {
				return above[i-3].Pos()
			}
			return token.NoPos
		}
		if _, is := above[i].(ast.Stmt); is {
			return token.NoPos
		}
	}
	return token.NoPos
}
