"""The protocols that come with the program, as YAML files."""
