package station

import (
	"errors"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strconv"

	"bufferstop/harness/written"

	"github.com/expr-lang/expr"
	"github.com/expr-lang/expr/ast"
	"github.com/expr-lang/expr/file"
	"github.com/expr-lang/expr/parser"
	"github.com/expr-lang/expr/vm"
)

// evaluate runs an expression whose result is a whole number or a text.
func evaluate(program *vm.Program, values map[string]any) (string, error) {
	result, err := expr.Run(program, values)
	if err != nil {
		var told *file.Error
		if errors.As(err, &told) {
			return "", errors.New(told.Message)
		}
		return "", err
	}
	switch v := result.(type) {
	case int:
		return strconv.Itoa(v), nil
	case string:
		return v, nil
	}
	return "", fmt.Errorf("the result %v is neither a whole number nor a text", result)
}

// resultKind is int or string, or another kind for an expression that may not stand in a field.
func resultKind(program *vm.Program) reflect.Kind {
	if t := program.Node().Type(); t != nil {
		return t.Kind()
	}
	return reflect.Invalid
}

// These bound an expression, and with it the time that it takes: there are no loops in one. Our own choice.
const (
	maxNodes      = 100
	maxExpression = 1000 // bytes
)

// functions are those of the expression language that an expression may call: none of them loops.
var functions = []string{"abs", "min", "max", "int", "floor", "ceil", "round", "len", "bitand", "bitor", "bitxor", "bitnand", "bitnot", "bitshl",
	"bitshr", "bitushr"}

// operators are those that cost no more than their operands; no ranges, and no patterns.
var operators = []string{"+", "-", "*", "/", "%", "==", "!=", "<", "<=", ">", ">=", "&&", "||", "and", "or", "!", "not", "in"}

// forbidden looks for what an expression may not have, and notes which values it uses.
type forbidden struct {
	what string
	uses map[string]bool
}

// Visit is called for every node.
func (f *forbidden) Visit(node *ast.Node) {
	refuse := func(what string) {
		if f.what == "" {
			f.what = what
		}
	}
	operator := func(o string) {
		if !slices.Contains(operators, o) {
			refuse("the operator " + o)
		}
	}
	switch n := (*node).(type) {
	case *ast.IdentifierNode:
		f.uses[n.Value] = true
	case *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode, *ast.StringNode, *ast.ConditionalNode, *ast.ArrayNode, *ast.ConstantNode:
	case *ast.UnaryNode:
		operator(n.Operator)
	case *ast.BinaryNode:
		operator(n.Operator)
	case *ast.BuiltinNode:
		if !slices.Contains(functions, n.Name) {
			refuse("the function " + n.Name)
		}
	case *ast.CallNode:
		if called, ok := n.Callee.(*ast.IdentifierNode); ok {
			refuse("the function " + called.Value)
			return
		}
		refuse("a call")
	default:
		refuse("something else than numbers, texts, values, operators and conditions")
	}
}

// expression compiles an expression over the values. It returns those that it uses.
func (p *dialectParser) expression(path, text string, values map[string]any) (*vm.Program, []string) {
	want := fmt.Sprintf("an expression over %s", joined(slices.Sorted(maps.Keys(values))))
	fail := func(got string, err error) {
		var told *file.Error
		hint := ""
		if errors.As(err, &told) {
			hint = told.Message
			got = fmt.Sprintf("%s, column %d", got, told.Column+1)
		} else if err != nil {
			hint = err.Error()
		}
		p.Fail(path, got, want, oneLineText(hint))
	}
	if text == "" {
		p.Fail(path, "nothing", want, "")
		return nil, nil
	}
	// The parser calls itself for every bracket.
	if len(text) > maxExpression {
		p.Fail(path, fmt.Sprintf("an expression of %d bytes", len(text)), fmt.Sprintf("at most %d", maxExpression), "")
		return nil, nil
	}
	// Parsed by itself first: compiling already computes what is constant.
	tree, err := parser.Parse(text)
	if err != nil {
		fail(written.Quote(text), err)
		return nil, nil
	}
	f := forbidden{uses: map[string]bool{}}
	nodes := counter(0)
	ast.Walk(&tree.Node, &nodes)
	if ast.Walk(&tree.Node, &f); f.what != "" {
		p.Fail(path, f.what+" in "+written.Quote(text), "numbers, texts, "+joined(operators[:11], " ")+", conditions and "+joined(functions), "")
		return nil, nil
	}
	if nodes > maxNodes {
		p.Fail(path, fmt.Sprintf("an expression of %d parts", nodes), fmt.Sprintf("at most %d", maxNodes), "")
		return nil, nil
	}
	program, err := expr.Compile(text, expr.Env(values), expr.MaxNodes(2*maxNodes))
	if err != nil {
		fail(written.Quote(text), err)
		return nil, nil
	}
	if k := resultKind(program); k != reflect.Int && k != reflect.String {
		p.Fail(path, written.Quote(text)+", whose result may be something else", "a whole number or a text", "int(a / b) is a whole number, a / b is not")
		return nil, nil
	}
	return program, slices.Sorted(maps.Keys(f.uses))
}

// counter counts the nodes of an expression.
type counter int

// Visit is called for every node.
func (c *counter) Visit(*ast.Node) { *c++ }

// sampleOf is a value of the type that expressions see.
func sampleOf(name valueName) any {
	if _, isWord := vocabularies[name]; isWord {
		return ""
	}
	return 0
}
