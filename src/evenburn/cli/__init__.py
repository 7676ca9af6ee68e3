"""The command line: parse, call one service, show what came of it."""
