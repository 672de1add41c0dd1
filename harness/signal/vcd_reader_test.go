package signal

import (
	"bytes"
	"compress/gzip"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// read reads the named signal of a dump, or the only one.
func read(text, name string) ([]Edge, error) {
	r, err := NewVCDReader(strings.NewReader(text))
	if err != nil {
		return nil, err
	}
	if name != "" {
		if err := r.Choose(name); err != nil {
			return nil, err
		}
	}
	return readAll(r)
}

const head = "$timescale 1 us $end\n$var wire 1 ! main $end\n$enddefinitions $end\n"

// The forms are those of IEEE 1364-2005, section 18.2.
func TestReaderTakesAllFormsOfADump(t *testing.T) {
	want := []Edge{{0, Positive}, {58 * us, Negative}, {116 * us, Off}, {200 * us, Positive}}
	for name, text := range map[string]string{
		"one change per line":           head + "#0\n1!\n#58\n0!\n#116\nz!\n#200\n1!\n",
		"changes behind the time":       head + "#0 1!\n#58 0!\n#116 x!\n#200 1!",
		"all on one line":               head + "#0 1! #58 0! #116 Z! #200 1!",
		"carriage returns":              strings.ReplaceAll(head+"#0\n1!\n#58\n0!\n#116\nX!\n#200\n1!\n", "\n", "\r\n"),
		"dumpvars":                      head + "#0\n$dumpvars\n1!\n$end\n#58\n0!\n#116\nx!\n#200\n1!\n",
		"dumpvars before the time":      head + "$dumpvars 1! $end\n#0\n#58\n0!\n#116\nx!\n#200\n1!\n",
		"values before the time":        head + "1!\n#0\n#58\n0!\n#116\nx!\n#200\n1!\n",
		"the last value of a time":      head + "#0 x! 0! 1!\n#58 0!\n#116 1! x!\n#200 0!\n#200 1!",
		"dumpoff and dumpon":            head + "#0 1!\n#58 0!\n#116\n$dumpoff\nx!\n$end\n#200\n$dumpon\n1!\n$end\n",
		"dumpall says nothing new":      head + "#0 1!\n#30 $dumpall 1! $end #58 0!\n#116 z!\n#200 1!\n",
		"repeated values":               head + "#0 1!\n#20 1!\n#58 0!\n#59 0!\n#116 z!\n#117 x!\n#200 1!\n",
		"comments in between":           head + "$comment #5 0! $end\n#0 1!\n#58 $comment\n 1! \n$end 0!\n#116 z!\n#200 1!\n",
		"times from the first stamp":    head + "#1000 1!\n#1058 0!\n#1116 z!\n#1200 1!\n",
		"other signals":                 "$timescale 1us $end $scope module top $end $var wire 1 ! main $end $var wire 8 \" bus [7:0] $end $var real 64 # v $end $upscope $end $enddefinitions $end #0 1! b101 \" r1.5 # #58 0! b0 \" #116 z! r-2e3 # #200 1!",
		"vector of one bit":             head + "#0 b1 !\n#58 b0 !\n#116 bz !\n#200 B1 !\n",
		"two-character codes":           strings.ReplaceAll(head+"#0 1!\n#58 0!\n#116 z!\n#200 1!\n", "!", "!~"),
		"timescale in three words":      "$timescale\n1\nus\n$end $var wire 1 ! main $end $enddefinitions $end #0 1! #58 0! #116 z! #200 1!",
		"ten microseconds":              "$timescale 10 us $end $var wire 1 ! main $end $enddefinitions $end #0 1! #58 0! #116 z! #200 1!",
		"nanoseconds":                   "$timescale 1ns $end $var wire 1 ! main $end $enddefinitions $end #0 1! #58000 0! #116000 z! #200000 1!",
		"hundred picoseconds":           "$timescale 100ps $end $var wire 1 ! main $end $enddefinitions $end #0 1! #580000 0! #1160000 z! #2000000 1!",
		"femtoseconds":                  "$timescale 1 fs $end $var wire 1 ! main $end $enddefinitions $end #0 1! #58000000000 0! #116000000000 z! #200000000000 1!",
		"date, version, own commands":   "$date today $end\n$version 1 $end $comment\n$var wire 1 ? no\n$end $attrbegin misc 02 $end " + head + "#0 1!\n#58 0!\n#116 z!\n#200 1!\n",
		"string values of some writers": "$timescale 1us $end $var wire 1 ! main $end $var string 1 s text $end $enddefinitions $end #0 1! shello s\n#58 0!\n#116 z!\n#200 1!",
		"no change in the last stamp":   head + "#0 1!\n#58 0!\n#116 z!\n#200 1!\n#100000\n",
	} {
		t.Run(name, func(t *testing.T) {
			scale := time.Duration(1)
			if name == "ten microseconds" {
				scale = 10
			}
			got, err := read(text, map[bool]string{true: "main"}[strings.Contains(text, "$var real") || strings.Contains(text, "$var string")])
			require.NoError(t, err)
			for i := range got {
				got[i].Time /= scale
			}
			assert.Equal(t, want, got)

			// The same byte by byte: a word may be cut by the end of the buffer anywhere.
			r, err := NewVCDReader(iotest.OneByteReader(strings.NewReader(text)))
			require.NoError(t, err)
			require.NoError(t, r.Choose("main"))
			slow, err := readAll(r)
			require.NoError(t, err)
			for i := range slow {
				slow[i].Time /= scale
			}
			assert.Equal(t, want, slow)
		})
	}
}

func TestTimescalesAreAllThatTheStandardHas(t *testing.T) {
	units := map[string]time.Duration{"s": time.Second, "ms": time.Millisecond, "us": time.Microsecond, "ns": 1}
	for number, n := range map[string]time.Duration{"1": 1, "10": 10, "100": 100} {
		for unit, size := range units {
			r, err := NewVCDReader(strings.NewReader("$timescale " + number + unit + " $end $var wire 1 ! a $end $enddefinitions $end #5 1! #8 0!"))
			require.NoError(t, err)
			assert.Equal(t, n*size, r.Resolution())
			edges, err := readAll(r)
			require.NoError(t, err)
			assert.Equal(t, []Edge{{0, Positive}, {3 * n * size, Negative}}, edges)
			assert.Equal(t, 3*n*size, r.End())
		}
		for _, unit := range []string{"ps", "fs"} {
			r, err := NewVCDReader(strings.NewReader("$timescale " + number + " " + unit + " $end $var wire 1 ! a $end $enddefinitions $end"))
			require.NoError(t, err)
			assert.Equal(t, time.Duration(1), r.Resolution())
		}
	}
	for _, bad := range []string{"2 ns", "1 min", "ns", "1", "1000 ns", "1 ns ns", "01 ns", "1 NS", "", "-1 ns", "1.0 ns"} {
		_, err := read("$timescale "+bad+" $end\n$var wire 1 ! a $end $enddefinitions $end", "")
		var syntax *SyntaxError
		require.ErrorAs(t, err, &syntax, bad)
		assert.Equal(t, 1, syntax.Line)
	}
}

// 58 µs in steps of 333.333… ns would drift if steps were rounded; each time is rounded by itself.
func TestFineTimesAreRoundedOneByOne(t *testing.T) {
	edges, err := read("$timescale 100 ps $end $var wire 1 ! a $end $enddefinitions $end #3 1! #7 0! #8 1! #18 0! #17999999999999 1!", "")
	require.NoError(t, err)
	assert.Equal(t, []Edge{{0, Positive}, {0, Negative}, {1, Positive}, {2, Negative}, {1800000000000, Positive}}, edges)
}

func TestVectorsAndTheirBits(t *testing.T) {
	text := `$timescale 1 us $end $scope module top $end
$var wire 4 ! bus [3:0] $end $var reg 4 " up [4:7] $end $var wire 1 # bus[9] $end $upscope $end $enddefinitions $end
#0 b0 ! b1000 " 0# #1 b10 ! #2 bx0 ! #3 bz ! b1 " #4 b1x1 ! #5 b0000 ! b0 "`
	for name, want := range map[string][]Edge{
		"top.bus[3:0]": {{0, Negative}, {1 * us, Positive}, {2 * us, Off}, {4 * us, Positive}, {5 * us, Negative}},
		"bus[0]":       {{0, Negative}, {3 * us, Off}, {4 * us, Positive}, {5 * us, Negative}},
		"top.bus[1]":   {{0, Negative}, {1 * us, Positive}, {2 * us, Off}, {5 * us, Negative}},
		"bus[3]":       {{0, Negative}, {2 * us, Off}, {4 * us, Negative}},
		"bus[9]":       {{0, Negative}},
		"up[4]":        {{0, Positive}, {3 * us, Negative}},
		"up[7]":        {{0, Negative}, {3 * us, Positive}, {5 * us, Negative}},
	} {
		got, err := read(text, name)
		require.NoError(t, err, name)
		assert.Equal(t, want, got, name)
	}
	for _, name := range []string{"bus[4]", "bus[-1]", "bus[1:0]", "bus[x]", "top", "us[0]", "bus[]"} {
		_, err := read(text, name)
		var choice *ChoiceError
		require.ErrorAs(t, err, &choice, name)
		assert.Equal(t, []string{"top.bus[3:0]", "top.up[4:7]", "top.bus[9]"}, choice.Signals)
		assert.ErrorContains(t, err, name)
	}
}

func TestSignalMustBeClear(t *testing.T) {
	text := `$timescale 1 us $end
$scope module a $end $var wire 1 ! main $end $upscope $end
$scope module b $end $scope begin c $end $var wire 1 " main $end $upscope $end $var wire 1 # prog $end $var event 1 $ e $end
$var wire 1 # same $end $upscope $end $enddefinitions $end
#0 1! 0" x# 1$ #1 0!`
	r, err := NewVCDReader(strings.NewReader(text))
	require.NoError(t, err)
	assert.Equal(t, []string{"a.main", "b.c.main", "b.prog", "b.same"}, r.Signals())
	_, err = r.Read(make([]Edge, 1))
	assert.EqualError(t, err, "the capture has several signals, and one must be chosen: a.main, b.c.main, b.prog, b.same")
	assert.Error(t, r.Choose("prog"), "too late")

	_, err = read(text, "main")
	assert.EqualError(t, err, `the name "main" fits several signals: a.main, b.c.main (give the name with its scopes)`)
	_, err = read(text, "nothing")
	assert.EqualError(t, err, `the capture has no signal "nothing"; it has a.main, b.c.main, b.prog, b.same`)
	edges, err := read(text, "b.c.main")
	require.NoError(t, err)
	assert.Equal(t, []Edge{{0, Negative}}, edges)
	edges, err = read(text, "prog")
	require.NoError(t, err)
	assert.Equal(t, []Edge{{0, Off}}, edges)

	_, err = read("$timescale 1 us $end $enddefinitions $end #0", "")
	assert.EqualError(t, err, "the capture has no signal")
	edges, err = read("$timescale 1 us $end $var wire 1 ! a $end $var wire 1 ! b $end $enddefinitions $end #0 1!", "")
	require.NoError(t, err, "two names of one signal need no choice")
	assert.Len(t, edges, 1)
}

func TestEscapedNamesAreTakenAsTheyAre(t *testing.T) {
	text := `$timescale 1 us $end $scope module \top+1 $end $var wire 1 ! \rail[1]-left $end
$var wire 2 " \rail[1] [1:0] $end $upscope $end $enddefinitions $end #0 1! b10 "`
	r, err := NewVCDReader(strings.NewReader(text))
	require.NoError(t, err)
	assert.Equal(t, []string{"top+1.rail[1]-left", "top+1.rail[1][1:0]"}, r.Signals())
	edges, err := read(text, "rail[1]-left")
	require.NoError(t, err)
	assert.Equal(t, []Edge{{0, Positive}}, edges)
	edges, err = read(text, "rail[1][0]")
	require.NoError(t, err)
	assert.Equal(t, []Edge{{0, Negative}}, edges)
}

func TestFaultsHaveTheirLine(t *testing.T) {
	for name, c := range map[string]struct {
		text string
		line int
		what string
	}{
		"empty":                       {"", 1, "empty"},
		"only white space":            {" \n\n\t\n", 4, "empty"},
		"text":                        {"hello world", 1, "no declaration"},
		"binary":                      {"\x7fELF\x02\x01\x01\x00\x00\x00 \x00\xff\xfe\n\x00", 1, "no declaration"},
		"one long word":               {strings.Repeat("a", longestToken+10), 1, "word of more than"},
		"cut in the declarations":     {"$timescale 1 us $end\n$var wire 1 ! main $end\n", 3, "ends before $enddefinitions"},
		"cut in a declaration":        {"$timescale 1 us $end\n$var wire 1 !", 2, "$var without its $end"},
		"cut in a comment":            {"$comment\n\n\nnever ends", 1, "$comment without its $end"},
		"values before the end":       {"$timescale 1 us $end\n$var wire 1 ! main $end\n#0", 3, "no declaration"},
		"no timescale":                {"$var wire 1 ! main $end\n$enddefinitions $end\n#0 1!", 2, "no $timescale"},
		"two timescales":              {"$timescale 1 us $end\n$timescale 1 us $end\n", 2, "second $timescale"},
		"upscope too often":           {"$timescale 1 us $end\n$upscope $end", 2, "outside any scope"},
		"scope without a name":        {"$scope module $end", 1, "$scope"},
		"var too short":               {"\n$var wire 1 $end", 2, "$var"},
		"var of no size":              {"$var wire x ! a $end", 1, "size"},
		"var of gigantic size":        {"$var wire 99999999999999999999 ! a $end", 1, "size"},
		"var with a strange code":     {"$var wire 1 \x01 a $end", 1, "identifier code"},
		"unknown code":                {head + "#0\n1?", 5, "identifier code of no $var"},
		"unknown long code":           {head + "#0\n1??", 5, "identifier code of no $var"},
		"value without code":          {head + "#0\n1 !", 5, "without an identifier code"},
		"vector without code":         {head + "#0\nb101\n", 6, "without an identifier code"},
		"vector of letters":           {head + "#0\nb1a1 !", 5, "vector"},
		"vector of nothing":           {head + "#0\nb !", 5, "vector"},
		"real of letters":             {head + "#0\nrabc !", 5, "real"},
		"infinite real":               {head + "#0\nr1e999 !", 5, "real"},
		"real for a wire":             {head + "#0\nr1.5 !", 5, "does not fit"},
		"no value":                    {head + "#0\nq!", 5, "no time stamp and no value"},
		"time of nothing":             {head + "#", 4, "time stamp"},
		"time below zero":             {head + "#-5", 4, "time stamp"},
		"time with letters":           {head + "#12a", 4, "time stamp"},
		"time runs backwards":         {head + "#10 1!\n#12 0!\n\n#11 1!", 7, "time runs backwards"},
		"gigantic time":               {head + "#0 1!\n#99999999999999999999999999", 5, "out of range"},
		"time of more than 64 bits":   {head + "#0 1!\n#18446744073709551616", 5, "out of range"},
		"time of more than 292 years": {head + "#0 1!\n#9223372036854776", 5, "out of range"},
		"command of no dump":          {head + "#0\n$dumpports", 5, "command"},
		"end of nothing":              {head + "#0\n$end", 5, "$end of nothing"},
		"dump in a dump":              {head + "#0\n$dumpvars\n$dumpall", 6, "inside $dumpvars"},
		"cut in a dump":               {head + "#0\n$dumpvars\n1!\n", 5, "$dumpvars without its $end"},
		"cut in a late comment":       {head + "#0\n\n$comment 1!\n", 6, "$comment without its $end"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := read(c.text, "")
			var syntax *SyntaxError
			require.ErrorAs(t, err, &syntax)
			assert.Equal(t, c.line, syntax.Line, "%v", err)
			assert.Contains(t, syntax.Error(), c.what)
			assert.Less(t, len(err.Error()), 300)
		})
	}
}

func TestErrorSaysWhereWhatGotWantedAndAHint(t *testing.T) {
	_, err := read(head+"#0 1!\n#99999999999999999999", "")
	assert.EqualError(t, err, `line 5: time stamp out of range: got "#99999999999999999999", want less than 292 years (is the $timescale right?)`)
}

func TestReadingStopsAtTheFaultAndKeepsIt(t *testing.T) {
	r, err := NewVCDReader(strings.NewReader(head + "#0 1!\n#58 0!\n#20 1!"))
	require.NoError(t, err)
	edges, err := readAll(r)
	assert.Equal(t, []Edge{{0, Positive}}, edges)
	require.Error(t, err)
	_, again := r.Read(make([]Edge, 1))
	assert.Equal(t, err, again)
}

func TestNoChangeIsACaptureButNoTimeIsACutOne(t *testing.T) {
	_, err := read(head, "")
	var syntax *SyntaxError
	require.ErrorAs(t, err, &syntax)
	assert.Positive(t, syntax.Line)
	edges, err := read(head+"#0\n#1000\n", "")
	require.NoError(t, err)
	assert.Empty(t, edges)
}

func compressed(t *testing.T, text string) []byte {
	var b bytes.Buffer
	w := gzip.NewWriter(&b)
	_, err := w.Write([]byte(text))
	require.NoError(t, err)
	require.NoError(t, w.Close())
	return b.Bytes()
}

func TestCaptureIsOpenedByContent(t *testing.T) {
	text := head + "#0 1!\n#58 0!\n"
	dir := t.TempDir()
	for name, data := range map[string][]byte{
		"plain.vcd": []byte(text), "packed.vcd.gz": compressed(t, text), "packed.vcd": compressed(t, text), "plain.gz": []byte(text),
	} {
		path := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(path, data, 0o600))
		file, err := os.Open(path)
		require.NoError(t, err)
		defer file.Close()
		for _, open := range []func() (*Capture, error){
			func() (*Capture, error) { return OpenCapture(path, nil) },
			func() (*Capture, error) { return OpenCapture("-", file) },
		} {
			c, err := open()
			require.NoError(t, err, name)
			buf := make([]Edge, 10)
			n, err := c.Read(buf[:1])
			require.NoError(t, err)
			assert.Equal(t, []Edge{{0, Positive}}, buf[:n])
			n, err = c.Read(buf)
			require.NoError(t, err)
			assert.Equal(t, []Edge{{58 * us, Negative}}, buf[:n])
			_, err = c.Read(buf)
			assert.Equal(t, io.EOF, err)
			assert.Equal(t, 58*us, c.End())
			assert.NoError(t, c.Close())
		}
	}
	_, err := OpenCapture(filepath.Join(dir, "nothing"), nil)
	assert.ErrorIs(t, err, os.ErrNotExist)
}

func TestErrorsOfACaptureNameTheFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a.vcd")
	require.NoError(t, os.WriteFile(path, nil, 0o600))
	_, err := OpenCapture(path, nil)
	require.ErrorContains(t, err, path+": line 1: the file is empty")
	_, err = OpenCapture("-", strings.NewReader("x"))
	require.ErrorContains(t, err, "standard input: line 1:")

	c, err := OpenCapture("-", strings.NewReader(head+"#0 1?"))
	require.NoError(t, err)
	_, err = c.Read(make([]Edge, 1))
	require.ErrorContains(t, err, "standard input: line 4:")
	assert.ErrorContains(t, c.Choose("x"), "standard input: ")
}

func TestDamagedCompressionIsAFaultWithALine(t *testing.T) {
	whole := compressed(t, head+"#0 1!\n#58 0!\n#116 1!\n")
	flipped := bytes.Clone(whole)
	flipped[len(flipped)-6] ^= 0xff // in the checksum
	for name, data := range map[string][]byte{
		"cut in the header": whole[:5], "cut in the data": whole[:len(whole)-20], "cut in the checksum": whole[:len(whole)-3],
		"wrong checksum": flipped, "nothing but the magic": {0x1f, 0x8b}, "no header": {0x1f, 0x8b, 9, 9, 9, 9, 9, 9, 9, 9, 9, 9},
	} {
		t.Run(name, func(t *testing.T) {
			r, err := NewVCDReader(bytes.NewReader(data))
			if err == nil {
				_, err = readAll(r)
			}
			var syntax *SyntaxError
			require.ErrorAs(t, err, &syntax)
			assert.Positive(t, syntax.Line)
		})
	}
}

func TestErrorOfTheDiskIsPassedOn(t *testing.T) {
	broken := errors.New("broken disk")
	r, err := NewVCDReader(io.MultiReader(strings.NewReader(head+"#0 1!\n#58 "), iotest.ErrReader(broken)))
	require.NoError(t, err)
	_, err = readAll(r)
	assert.ErrorIs(t, err, broken)
	assert.ErrorContains(t, err, "line 5")
	_, err = NewVCDReader(iotest.ErrReader(broken))
	assert.ErrorIs(t, err, broken)
	_, err = NewVCDReader(silent{})
	assert.ErrorIs(t, err, io.ErrNoProgress)
}

// silent is a reader that never says anything.
type silent struct{}

func (silent) Read([]byte) (int, error) { return 0, nil }

func TestVoltsBecomeLevels(t *testing.T) {
	volts := "$timescale 1 us $end $var real 64 ! v $end $enddefinitions $end "
	for name, c := range map[string]struct {
		text string
		want []Edge
	}{
		"steps": {"#0 r15 ! #58 r-15 ! #116 r15 !",
			[]Edge{{0, Positive}, {58 * us, Negative}, {116 * us, Positive}}},
		"a slope is crossed in proportion": {"#0 r15 ! #57 r15 ! #58 r9 ! #60 r-3 ! #61 r-15 ! #116 r-15 !",
			[]Edge{{0, Positive}, {59500 * time.Nanosecond, Negative}}},
		"a short stay near zero is a crossing": {"#0 r15 ! #58 r1 ! #60 r-1 ! #61 r-15 !",
			[]Edge{{0, Positive}, {59 * us, Negative}}},
		"a long stay near zero is off": {"#0 r15 ! #58 r0.5 ! #62 r-15 !",
			[]Edge{{0, Positive}, {58 * us, Off}, {62 * us, Negative}}},
		"off until the end": {"#0 r15 ! #58 r0 ! #62",
			[]Edge{{0, Positive}, {58 * us, Off}}},
		"not yet off at the end": {"#0 r15 ! #58 r0 ! #61",
			[]Edge{{0, Positive}}},
		"off at the beginning": {"#0 r0 ! #100 r-16.5 !",
			[]Edge{{0, Off}, {100 * us, Negative}}},
		"ringing near zero is no reversal": {"#0 r15 ! #58 r-1.5 ! #59 r1.5 ! #60 r15 ! #116 r-15 !",
			[]Edge{{0, Positive}, {116 * us, Negative}}},
		"between the thresholds nothing changes": {"#0 r15 ! #10 r3 ! #20 r-3 ! #30 r3 ! #40 r15 !",
			[]Edge{{0, Positive}}},
	} {
		t.Run(name, func(t *testing.T) {
			got, err := read(volts+c.text, "")
			require.NoError(t, err)
			assert.Equal(t, c.want, got)
		})
	}
}
