// Package uncertainty keeps the budget of a measurement: what makes it uncertain, how much each part does, and what comes of
// them together, by JCGM 100:2008, "Evaluation of measurement data: guide to the expression of uncertainty in measurement".
//
// A budget is a value that a rig hands out and a record keeps, so that whoever reads a report can add it up again:
//
//	edges := uncertainty.EdgeTimes(uncertainty.Edges{Period: 62.5, Noise: 10, WholeNanoseconds: true})
//	edges.Expanded(58_000) // U of 58 µs, in nanoseconds
//
// What comes of a budget depends on the value measured: a clock that is off by some parts in a million is off by more over
// a longer time.
package uncertainty
