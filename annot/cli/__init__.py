"""The command line: parses words, calls a task, prints."""
