package main

import (
	"github.com/spf13/cobra"
)

func newDialect() *cobra.Command {
	return group(&cobra.Command{
		Use:   "dialect",
		Short: "Write and check the file that says how a station is talked to",
		Long: `A dialect is a TOML file: for each operation what is sent, and patterns for what may come back. dialect new writes one with
comments to start from; dialect check says what is wrong or unwise in one and plays the examples in it.`,
		Example: `  bufferstop dialect new my.dialect.toml
  bufferstop dialect check my.dialect.toml`,
	}, newDialectCheck(), newDialectNew())
}
